"""Rates of every specimen, by picture, section, map and bath, and on whom they were measured."""

import pytest

from surfscan.comparison.rates import penetration_as_rate
from surfscan.report.specimen_rates import ONLY_BELOW, PRODUCT_WIDENS, STANDING


def of(found, specimen, method):
    return next(rate for rate in found.of(specimen).rates if rate.method == method)


def test_depth_over_the_exposure(sides):
    found = sides.found()
    rate = of(found, "L2", "strut width")
    assert rate.mm_per_y == pytest.approx(penetration_as_rate(40.0, 336.0))
    assert (rate.starts_h, rate.ends_h, rate.kind, rate.bound) == (0.0, 336.0, "average", "")
    assert rate.expanded == pytest.approx(penetration_as_rate(1.0, 336.0))
    assert of(found, "L2", "section").mm_per_y == pytest.approx(penetration_as_rate(40.4, 336.0))


def test_pit_volume_is_a_lower_bound(sides):
    rate = of(sides.found(), "L2", "pit volume")
    assert (rate.bound, rate.reasons) == ("at least", (ONLY_BELOW,))


def test_from_the_original_level_it_is_none(empty_sides, sides):
    row = dict(sides.summaries[-1].deep.row)
    row |= {"original_level": "masked datum", "mean_penetration_um": 12.0}
    empty_sides.specimen("M", "coated 14 d", heights=row)
    rate = of(empty_sides.found(), "M", "pit volume")
    assert rate.bound == "" and rate.mm_per_y == pytest.approx(penetration_as_rate(12.0, 336.0))


def test_twin_and_unexposed_electrode(sides):
    found = sides.found()
    twin, own = of(found, "L1", "sweep"), of(found, "E1", "sweep")
    assert (twin.joined, twin.from_specimens, own.joined) == ("twin", ("E1",), "own")
    assert twin.mm_per_y == own.mm_per_y
    assert [rate.method for rate in found.of("E1").rates] == ["sweep"]


def test_joined_through_the_group(sides):
    """A plate without a weighing is shown the mean of the others of its group."""
    sides.specimen("L4", "bare 14 d")
    found = sides.found()
    rate = of(found, "L4", "mass loss")
    others = [of(found, name, "mass loss").mm_per_y for name in ("L1", "L2", "L3")]
    assert rate.mm_per_y == pytest.approx(sum(others) / 3)
    assert (rate.joined, rate.from_specimens) == ("group", ("L1", "L2", "L3"))
    assert rate.mm_per_y_ci95 is not None
    assert not any(r.method == "strut width" for r in found.of("L4").rates)  # a picture alters nothing


def test_product_and_lost_struts_read_low(sides, empty_sides):
    row = dict(sides.summaries[-1].by_kind["strut"].row) | {"condition": "with_product", "broken_count": 1.0}
    empty_sides.specimen("P", "coated 14 d", strut=row)
    rate = of(empty_sides.found(), "P", "strut width")
    assert rate.bias == "reads low" and rate.reasons == (PRODUCT_WIDENS, STANDING)


def test_no_time_no_rate(sides):
    """Without a stated exposure every picture says why it gives no rate."""
    last = sides.summaries[-1]
    object.__setattr__(last, "specimen", last.specimen.model_copy(update={"exposure_h": None}))
    rates = [r for r in sides.found().of("C3").rates if r.method in ("strut width", "section", "pit volume")]
    assert len(rates) == 3 and all("add exposure_h" in rate.refused for rate in rates)


def test_no_loss_known(sides, empty_sides):
    row = dict(sides.summaries[-1].by_kind["strut"].row) | {"width_penetration_um": float("nan")}
    empty_sides.specimen("N", "coated 14 d", strut=row)
    assert "state pixel size" in of(empty_sides.found(), "N", "strut width").refused


def test_shared_causes_are_of_one_surface(sides):
    found = sides.found()
    mass, gas, sweep = (of(found, "L1", m) for m in ("mass loss", "gas", "sweep"))
    assert mass.shared_relative == gas.shared_relative == {"area: surface of L1": pytest.approx(0.02)}
    assert "area: surface of L1" not in sweep.shared_relative
