"""Rates of one specimen beside each other."""

import pytest

from surfscan.comparison.rates import NORMAL_FACTOR
from surfscan.estimates.groups import t_factor


def pair(found, specimen, one, two):
    return next(p for p in found.of(specimen).agreements if (p.first.method, p.second.method) == (one, two))


def test_starting_area_is_no_contradiction(sides):
    """Mass loss over the starting area reads low on a strut, and agrees once turned into penetration."""
    found = sides.found()
    for name in ("L1", "L2", "L3"):
        both = pair(found, name, "strut width", "mass loss")
        assert both.agree is True and both.corrected_by > 1.1
        assert both.ratio == pytest.approx(1, abs=1e-6)
        as_measured = next(r for r in found.of(name).known if r.method == "mass loss")
        assert as_measured.mm_per_y < 0.92 * both.second.mm_per_y


def test_gas_below_mass_with_a_known_reason(sides):
    both = pair(sides.found(), "L2", "mass loss", "gas")
    assert both.agree is False and both.ratio == pytest.approx(1 / 0.9)
    assert any("undissolved" in reason.text or "Bubbles" in reason.text for reason in both.reasons)


def test_averages_and_moments_have_no_error(sides):
    both = pair(sides.found(), "L2", "mass loss", "sweep")
    assert both.e_n is None and both.agree is None
    assert any("magnesium" in reason.text for reason in both.reasons)


def test_scatter_between_specimens(sides):
    found = sides.found()
    context = found.of("L1").context
    masses = [
        next(r for r in found.of(n).known if r.method == "mass loss").mm_per_y for n in ("L1", "L2", "L3")
    ]
    mean = sum(masses) / 3
    deviation = (sum((m - mean) ** 2 for m in masses) / 2) ** 0.5
    assert context.between_specimens_relative == pytest.approx(deviation / mean * t_factor(2) / NORMAL_FACTOR)
    assert found.of("E1").context.between_specimens_relative is None


def test_scatter_counts_specimens_not_weighings(sides):
    before = sides.found().of("L1").context.between_specimens_relative
    for name in ("L1", "L2", "L3"):
        own = next(r for r in sides.rates if r.method == "mass loss" and r.record.entry.specimen == name)
        sides.weigh(name, own.mm_per_y)
    assert sides.found().of("L1").context.between_specimens_relative == pytest.approx(before)


def test_context(sides):
    context = sides.found().of("L1").context
    assert (context.base_metal, context.drawn.width, context.drawn.thickness) == ("Mg", 400.0, 300.0)


def test_blend_only_where_all_agree(sides):
    found = sides.found()
    assert found.of("L2").blend.mm_per_y is None and "do not agree" in found.of("L2").blend.refused
    coated = found.of("C2").blend
    assert coated.mm_per_y is not None and coated.methods == ("strut width", "section", "mass loss")


def test_local_against_general(sides):
    found = sides.found()
    own = found.of("C2")
    assert "shallower than the average penetration" in own.pitting_factor.refused  # 5 of 12 µm, from today
    assert own.share_in_pits.value == pytest.approx(0.1 / 11.38, rel=0.02)
    assert own.pit_against_section.depth_share == pytest.approx(5 / 300)
    nothing = found.of("E1")
    assert nothing.pitting_factor.refused and nothing.pit_against_section is None
    sides.summaries[-2].by_kind["heights"].row |= {
        "max_depth_um": 30.0,
        "max_depth_um_ci95_low": 29.0,
        "max_depth_um_ci95_high": 31.0,
    }
    deep = sides.found().of("C2").pitting_factor
    assert deep.bound == "at least"  # depths are from today's surface
    assert deep.value == pytest.approx(30 / 12, rel=0.01)
