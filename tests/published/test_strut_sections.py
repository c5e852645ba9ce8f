"""Remaining cross-section and width uncertainty against closed forms.

Sources: elementary geometry for the loss of a rectangle, a square and a round wire; JCGM 100:2008 (GUM) for
the combination of uncertainties, its clauses 5.1.2 and 5.2.2 (correlated inputs) from memory.
"""

import math

import numpy as np
import pytest

from surfscan.measurement.strut_sections import DrawnSection, eroded_area, fraction_uncertainty, sections
from surfscan.measurement.strut_widths import Z95, measure_widths


def test_square_strut_of_150():
    """150 x 150 µm losing 10 µm a side: 0.867 by width alone, 0.7511 in truth ((130/150)²)."""
    found = sections(np.array([130.0]), DrawnSection(150, 150))
    assert found.fraction[0] == pytest.approx(0.867, abs=5e-4)
    assert found.equal_loss_fraction[0] == pytest.approx(0.7511, abs=5e-5)


def test_square_strut_of_120():
    """120 x 120 µm losing 10 µm a side: 0.6944 ((100/120)²)."""
    assert sections(np.array([100.0]), DrawnSection(120, 120)).equal_loss_fraction[0] == pytest.approx(
        0.6944, abs=5e-5
    )


@pytest.mark.parametrize(("w", "t", "d"), [(150.0, 80.0, 7.0), (80.0, 150.0, 7.0), (200.0, 60.0, 29.0)])
def test_rectangle(w, t, d):
    """(w - 2d)(t - 2d) = f w t."""
    found = sections(np.array([w - 2 * d]), DrawnSection(w, t))
    assert found.equal_loss_fraction[0] == pytest.approx((w - 2 * d) * (t - 2 * d) / (w * t), rel=1e-12)


def test_square_from_its_fraction():
    """d = w/2 (1 - sqrt f)."""
    for d in (1.0, 10.0, 40.0):
        f = eroded_area(d, DrawnSection(100, 100)) / 1e4
        assert 50 * (1 - math.sqrt(f)) == pytest.approx(d, rel=1e-12)


def test_round_wire_of_250():
    """d = r0 (1 - sqrt f): a 250 µm wire with f = 0.65 left has lost 24.2 µm all round."""
    d = 125 * (1 - math.sqrt(0.65))
    assert d == pytest.approx(24.2, abs=0.05)
    found = sections(np.array([250 - 2 * d]), DrawnSection(250, 250, "ellipse"))
    assert found.equal_loss_fraction[0] == pytest.approx(0.65, rel=1e-9)


def test_small_loss_is_perimeter_times_loss():
    """d = (A0 - A)/P0 to first order, for every shape."""
    d = 1e-4
    for drawn, perimeter in (
        (DrawnSection(150, 80), 460.0),
        (DrawnSection(150, 150, "ellipse"), math.pi * 150),
        (
            DrawnSection(100, 50, "trapezoid", 30),
            100 + 100 - 100 / math.sqrt(3) + 100 / math.cos(math.pi / 6),
        ),
    ):
        assert (drawn.area - eroded_area(d, drawn)) / perimeter == pytest.approx(d, rel=1e-4)


def test_uncertainty_of_a_fraction_grows_as_the_loss_shrinks():
    """u(d)/d: the drawn size dominates where little was lost; f = w/w0 has the closed-form uncertainty."""
    drawn = DrawnSection(120, 120, width_uncertainty=1.0)
    u = fraction_uncertainty(np.array([110.0]), 0.7, drawn, equal_loss=False)[0]
    # The drawn width is in A0 alone: u(f)/f = sqrt((u_w/w)² + (u_w0/w0)²).
    assert u == pytest.approx(110 / 120 * math.hypot(0.7 / 110, 1 / 120), rel=1e-3)


def budget(found):
    """Standard uncertainty of the mean width in µm, at 0.5 µm a px."""
    return float(found.mean_high[0] - found.mean[0]) / Z95 * 0.5


def test_budget_of_a_120_um_strut(stations):
    """240 px of 0.5 µm, scale 0.5 %, edges 0.5 px: u = 0.70 µm where they are independent, 0.78 where alike.

    Independent: sqrt((0.005 x 120)² + (0.5 x 0.5 x sqrt 2)²) = 0.70 µm, U (k = 2) = 1.4 µm. One bias in both
    edges: sqrt((0.005 x 120)² + (2 x 0.5 x 0.5)²) = 0.78 µm, U = 1.6 µm (JCGM 100:2008, 5.1.2 and 5.2.2).
    """
    # Three stations within one correlation length are one reading of two edges.
    one = stations(np.full(3, 240.0), pitch=1.0, u=math.sqrt(2) * 0.5, common=0.0)
    independent = measure_widths(one, relative_scale_uncertainty=0.005)
    assert budget(independent) == pytest.approx(math.hypot(0.6, 0.25 * math.sqrt(2)), rel=1e-6)
    assert 2 * budget(independent) == pytest.approx(1.4, abs=0.05)
    quiet = stations(np.full(3, 240.0), pitch=1.0, u=0.0, common=0.0)
    common = measure_widths(quiet, edge_uncertainty=0.5, relative_scale_uncertainty=0.005)
    assert budget(common) == pytest.approx(math.hypot(0.6, 0.5), rel=1e-6)
    assert 2 * budget(common) == pytest.approx(1.6, abs=0.05)


def test_a_common_edge_bias_does_not_average_out(stations):
    """Over a thousand stations the independent part is gone, the common one stands."""
    many = stations(np.full(1000, 240.0), pitch=3.0, u=math.sqrt(2) * 0.5, common=0.0)
    found = measure_widths(many, edge_uncertainty=0.5)
    assert budget(found) == pytest.approx(math.hypot(0.5, 0.25 * math.sqrt(2 / 1000)), rel=1e-6)
