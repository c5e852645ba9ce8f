"""Forms fitted to pitted surfaces of known form."""

import dataclasses

import numpy as np
import pytest

from surfscan.preparation import form as form_module
from surfscan.preparation.form import fit_form

N = 384
Y, X = np.mgrid[:N, :N] - (N - 1) / 2.0
SQ = 0.3
FLAT = 0.02 * X - 0.01 * Y
BOWL = FLAT + 3e-4 * X**2 - 1e-4 * X * Y + 1e-4 * Y**2


def arch(radius_um, axis_deg, pixel_um=1.0, tilt_along=0.01, apex_um=-20.0):
    a = np.radians(axis_deg)
    s = (X * np.cos(a) + Y * np.sin(a)) * pixel_um
    u = (Y * np.cos(a) - X * np.sin(a)) * pixel_um - apex_um
    return tilt_along * s + np.hypot(1, tilt_along) * (np.sqrt(radius_um**2 - u**2) - radius_um)


def surface(form):
    return form.surface(np.arange(N), np.arange(N))


def spoiled(rng, heights):
    """With 2 % gaps and 0.2 % spikes up to 40 Sq either way, float32."""
    spikes = rng.random(heights.shape) < 0.002
    heights = heights + np.where(spikes, rng.uniform(-40, 40, heights.shape) * SQ, 0)
    heights[rng.random(heights.shape) < 0.02] = np.nan
    return heights.astype(np.float32)


@pytest.mark.parametrize(
    ("kind", "truth"), [("plane", FLAT), ("polynomial2", BOWL), ("cylinder", arch(1000.0, 30.0))]
)
@pytest.mark.parametrize("place", ["uniform", "clusters", "side"])
@pytest.mark.parametrize("pit", ["paraboloid", "cone", "cylinder"])
def test_pits_on_30_percent_move_the_reference_by_less_than_a_hundredth_of_their_depth(
    rough, dig, kind, truth, place, pit
):
    """Against the same surface without pits, root mean square over the field, for pits only 10 Sq deep."""
    rng = np.random.default_rng(2)
    depth = 10 * SQ
    pits = dig(rng, (N, N), share=0.3, radius_px=(4, 25), depth=lambda _: depth, kind=pit, place=place)
    assert 0.3 <= np.mean(pits > 0) < 0.33
    rough_surface = truth + rough(rng, (N, N), SQ, 0)
    with_pits = surface(fit_form(spoiled(rng, rough_surface - pits), kind, pixel_size_um=(1.0, 1.0)))
    without = surface(fit_form(spoiled(rng, rough_surface), kind, pixel_size_um=(1.0, 1.0)))
    assert np.sqrt(np.mean((with_pits - without) ** 2)) < 0.01 * depth
    assert np.sqrt(np.mean((with_pits - truth) ** 2)) < 0.01 * depth


def test_correlated_roughness_and_wide_pits(rough, dig):
    """Where grinding marks are 7 px wide the reference moves by less than a hundredth too."""
    rng = np.random.default_rng(4)
    pits = dig(rng, (N, N), share=0.3, radius_px=(5, 30), depth=lambda r: max(0.5 * r, 10 * SQ), kind="cap")
    ground = FLAT + rough(rng, (N, N), SQ, 3.0)
    moved = surface(fit_form(spoiled(rng, ground - pits), "plane", pixel_size_um=(1.0, 1.0))) - surface(
        fit_form(spoiled(rng, ground), "plane", pixel_size_um=(1.0, 1.0))
    )
    assert np.sqrt(np.mean(moved**2)) < 0.01 * 10 * SQ


@pytest.mark.parametrize(
    ("radius_um", "pixel_um", "axis_deg"),
    [(1000.0, 0.3, 0.0), (1000.0, 2.0, 30.0), (2310.0, 1.0, 90.0), (5000.0, 5.0, 155.0), (5000.0, 1.0, 12.0)],
)
def test_cylinders_of_1_to_5_mm(rough, radius_um, pixel_um, axis_deg):
    """Fields of 0.1 to 2 mm: radius, axis and tilt come back; what is left of the form is under 3 % of Sq."""
    truth = arch(radius_um, axis_deg, pixel_um)
    form = fit_form(
        (truth + rough(np.random.default_rng(0), (N, N), SQ, 0)).astype(np.float32),
        "auto",
        pixel_size_um=(pixel_um, pixel_um),
    )
    assert form.kind == "cylinder"
    assert np.sqrt(np.mean((surface(form) - truth) ** 2)) < 0.03 * SQ
    sag = (N * pixel_um / 2) ** 2 / (2 * radius_um)
    assert form.radius_um == pytest.approx(radius_um, rel=max(1e-3, 0.1 * SQ / sag))
    assert (form.axis_deg - axis_deg + 90) % 180 - 90 == pytest.approx(0, abs=100 * SQ / sag * 0.05)


def test_pixels_that_are_not_square(rough):
    """Half as many rows over the same cylinder: the same radius and axis."""
    truth = arch(1500.0, 30.0)
    heights = (truth + rough(np.random.default_rng(0), (N, N), 0.1, 0)).astype(np.float32)
    form = fit_form(heights[::2], "cylinder", pixel_size_um=(1.0, 2.0))
    assert form.radius_um == pytest.approx(1500, rel=0.01)
    assert form.axis_deg == pytest.approx(30, abs=0.5)


@pytest.mark.parametrize(
    ("truth", "kind"),
    [
        (FLAT, "plane"),
        (BOWL, "polynomial2"),
        (arch(1000.0, 30.0), "cylinder"),
        (-arch(3000.0, 80.0), "cylinder"),
    ],
)
def test_auto_takes_the_simplest_that_leaves_no_bend(rough, dig, truth, kind):
    """Also with a fifth of the field pitted."""
    rng = np.random.default_rng(1)
    pits = dig(rng, (N, N), share=0.2, radius_px=(4, 20), depth=lambda r: 0.6 * r, kind="cap")
    form = fit_form(spoiled(rng, truth + rough(rng, (N, N), SQ, 0) - pits), pixel_size_um=(1.0, 1.0))
    assert form.kind == kind


def test_auto_does_not_take_waviness_for_a_bend(rough):
    """Long waves that happen to bend the polynomial are within its uncertainty."""
    for seed in range(5):
        heights = rough(np.random.default_rng(seed), (N, N), SQ, 12.0)
        assert fit_form(heights, pixel_size_um=(1.0, 1.0)).kind in ("none", "plane")


def test_auto_takes_no_tilt_off_a_level_surface():
    """Waves leave a slope by chance; taking it off would change the roughness that is to be measured."""
    for waves in (2, 3, 5, 10):
        sine = np.sin(2 * np.pi * waves * X / N)
        assert fit_form(sine, pixel_size_um=(1.0, 1.0)).kind == "none"


def test_auto_takes_nothing_off_that_leaves_the_surface_less_flat():
    """Half the crests of two long waves lie on a parabola that fits the rest badly."""
    heights = np.cos(4 * np.pi * X / N)
    form = fit_form(heights, pixel_size_um=(1.0, 1.0))
    assert np.std(form.remove(heights)) <= np.std(heights)


def test_form_in_words_and_figures(rough):
    """Tilts in degrees at the centre; the words say the same."""
    form = fit_form(
        (np.tan(np.radians(0.5)) * X * 2 - np.tan(np.radians(0.25)) * Y + 70).astype(np.float32)
        + rough(np.random.default_rng(0), (N, N), 0.05, 0),
        pixel_size_um=(2.0, 1.0),
    )
    assert form.tilt_x_deg == pytest.approx(0.5, abs=1e-3)
    assert form.tilt_y_deg == pytest.approx(-0.25, abs=1e-3)
    assert form.text == "plane, tilted 0.50° along x, -0.25° along y"
    assert form.radius_um is None and form.axis_deg is None
    assert form.roughness_um == pytest.approx(0.05, rel=0.02)
    hollow = fit_form((-arch(2310.0, 12.0)).astype(np.float32), "cylinder", pixel_size_um=(1.0, 1.0))
    assert hollow.text == "hollow cylinder of radius 2.31 mm, axis at 12°"
    assert hollow.radius_um == pytest.approx(-2310, rel=1e-3)


def test_without_a_scale_no_angle_and_no_radius_is_given(rough):
    """The form is taken off all the same, and said in px."""
    heights = (arch(1000.0, 30.0) + rough(np.random.default_rng(0), (N, N), 0.2, 0)).astype(np.float32)
    form = fit_form(heights, pixel_size_um=None)
    assert form.kind == "polynomial2" and "µm per px" in form.text
    assert form.tilt_x_deg is None and form.tilt_y_deg is None
    forced = fit_form(heights, "cylinder", pixel_size_um=None)
    assert forced.radius_um is None and forced.axis_deg == pytest.approx(30, abs=1)


def test_none_takes_off_the_median_alone():
    """Tilt and bend stay."""
    form = fit_form((FLAT + 5).astype(np.float32), "none", pixel_size_um=(1.0, 1.0))
    assert form.kind == "none" and form.tilt_x_deg is None and np.isnan(form.level_uncertainty_um)
    np.testing.assert_allclose(surface(form), 5, atol=0.02)


def test_region_alone_is_fitted(rough):
    """What lies outside does not count, however large it is."""
    heights = (FLAT + rough(np.random.default_rng(0), (N, N), SQ, 0)).astype(np.float32)
    heights[:, 100:] += 50
    region = np.zeros(heights.shape, bool)
    region[:, :100] = True
    form = fit_form(heights, "plane", pixel_size_um=(1.0, 1.0), region=region)
    assert np.abs(surface(form) - FLAT)[:, :100].max() < 0.05 * SQ


def test_large_offset_costs_nothing(rough):
    """Heights 5 mm above zero: float64 gives the same residuals as without."""
    heights = FLAT + rough(np.random.default_rng(0), (N, N), SQ, 0)
    low = fit_form(heights, "plane", pixel_size_um=(1.0, 1.0)).remove(heights)
    high = fit_form(heights + 5000, "plane", pixel_size_um=(1.0, 1.0)).remove(heights + 5000)
    np.testing.assert_allclose(high, low, atol=1e-5)


def test_residual_is_heights_less_surface(rough):
    """`remove` and `surface` tell the same story; gaps stay gaps."""
    heights = (BOWL + rough(np.random.default_rng(0), (N, N), SQ, 0)).astype(np.float32)
    heights[5, 7] = np.nan
    form = fit_form(heights, "polynomial2", pixel_size_um=(1.0, 1.0))
    residual = form.remove(heights)
    assert residual.dtype == np.float32 and np.isnan(residual[5, 7])
    np.testing.assert_allclose(residual, heights - surface(form), atol=2e-5)


def test_same_bits_on_one_thread(rough, monkeypatch):
    """Fit and residual do not depend on the number of threads."""
    heights = (BOWL + rough(np.random.default_rng(0), (N, N), SQ, 0)).astype(np.float32)
    two = fit_form(heights, pixel_size_um=(1.0, 1.0))
    monkeypatch.setattr(form_module, "_THREADS", 1)
    one = fit_form(heights, pixel_size_um=(1.0, 1.0))
    np.testing.assert_array_equal(two.model.coefficients, one.model.coefficients)
    np.testing.assert_array_equal(two.remove(heights), one.remove(heights))
    assert dataclasses.replace(one, model=two.model) == two


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"kind": "sphere"}, "unknown form"),
        ({"pixel_size_um": (1.0, 0.0)}, "pixel sizes"),
        ({"pixel_size_um": (np.nan, 1.0)}, "pixel sizes"),
        ({"region": np.ones((3, 3), bool)}, "the region is"),
        ({"heights_um": np.zeros((20, 20), int)}, "floating-point"),
        ({"heights_um": np.full((20, 20), np.nan)}, "only 0 points"),
    ],
)
def test_nonsense_is_refused(change, message):
    """ValueError that says what."""
    given = {"heights_um": np.zeros((20, 20)), "kind": "auto", "pixel_size_um": (1.0, 1.0)} | change
    heights, kind = given.pop("heights_um"), given.pop("kind")
    with pytest.raises(ValueError, match=message):
        fit_form(heights, kind, **given)


@pytest.mark.parametrize("shape", [(1, 40), (40, 1), (4, 4), (3, 500)])
def test_tiny_and_thin_fields(shape):
    """A flat strip is flat, however thin."""
    form = fit_form(np.full(shape, 7.0, np.float32), pixel_size_um=(1.0, 1.0))
    np.testing.assert_allclose(form.surface(np.arange(shape[0]), np.arange(shape[1])), 7.0, atol=1e-4)


def test_strut_with_flanks_out_of_sight(rough):
    """A strut 2 mm wide, flanks beyond 60 degrees not measured: the rest is followed exactly."""
    n, pixel, radius = 500, 4.0, 1000.0
    along, across = (a * pixel for a in np.meshgrid(np.arange(n) - n / 2, np.arange(n) - n / 2))
    across = across - 15
    truth = np.sqrt(np.maximum(radius**2 - across**2, 0)) + 0.005 * along
    truth[np.abs(across) > radius * np.sin(np.radians(60))] = np.nan
    heights = (truth + rough(np.random.default_rng(0), (n, n), SQ, 0)).astype(np.float32)
    form = fit_form(heights, pixel_size_um=(pixel, pixel))
    assert form.kind == "cylinder" and form.radius_um == pytest.approx(radius, rel=1e-3)
    assert form.text == "cylinder of radius 1 mm, axis at 0°"
    left = form.surface(np.arange(n), np.arange(n)) - truth
    assert np.sqrt(np.nanmean(left**2)) < 0.03 * SQ


@pytest.mark.parametrize("slope", [0.0, 0.002, -0.002, 0.01, -0.01])
def test_pits_on_one_side_of_a_level_or_hardly_tilted_surface(rough, dig, slope):
    """A tilt that makes up for the pits stays a tilt, and a level surface keeps its level, both certain."""
    rng = np.random.default_rng(1)
    pits = dig(rng, (N, N), share=0.3, radius_px=(5, 25), depth=lambda r: 0.5 * r, kind="cap", place="side")
    truth = slope * X
    form = fit_form((truth + rough(rng, (N, N), SQ, 0) - pits).astype(np.float32), pixel_size_um=(1.0, 1.0))
    assert form.kind == ("plane" if slope else "none")
    assert np.sqrt(np.mean((surface(form) - truth) ** 2)) < 0.03 * SQ
    assert 0 < form.level_uncertainty_um < 0.03 * SQ
    assert 0.4 < form.kept_fraction < 0.7
