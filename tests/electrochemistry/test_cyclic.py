"""Cyclic sweeps: breakdown and protection, censored breakdown, oxygen evolution, transpassive dissolution."""

import numpy as np
import pytest

from surfscan.electrochemistry.cyclic import CyclicRules, analyse_cyclic, oxygen_equilibrium_V_SHE

STEP = 0.001
ZERO, PASSIVE, BREAKDOWN, PROTECTION, VERTEX = -0.25, 0.5, 0.35, 0.05, 0.45
UP = np.arange(-0.35, VERTEX, STEP)
DOWN = UP[::-1][: int((VERTEX + 0.2) / STEP)]


def _passive(potential):
    return PASSIVE * np.tanh((potential - ZERO) / 0.02)


def _pitting():
    """Forward rises 25 decades per V at breakdown; reverse comes down and meets it at protection."""
    forward = _passive(UP) + PASSIVE * (10 ** np.clip(25 * (UP - BREAKDOWN), -9, 9))
    share = np.clip((DOWN - PROTECTION) / (VERTEX - PROTECTION), -0.2, 1)
    reverse = _passive(DOWN) + forward[-1] * np.sign(share) * share**2
    return forward, reverse


def _noisy(density, seed=0):
    return density * (1 + 0.02 * np.random.default_rng(seed).standard_normal(density.size))


def _retraced():
    """A rise that the reverse run retraces."""
    forward = _passive(UP) + PASSIVE * (10 ** np.clip(25 * (UP - BREAKDOWN), -9, 9))
    return forward, 0.97 * np.interp(DOWN, UP, forward)


def test_breakdown_protection_and_hysteresis():
    forward, reverse = _pitting()
    found = analyse_cyclic(UP, _noisy(forward), ZERO, DOWN, _noisy(reverse, 1))
    assert found.kind == "breakdown"
    assert found.passive.density_uA_per_cm2 == pytest.approx(PASSIVE, rel=0.05)
    assert found.breakdown_V == pytest.approx(BREAKDOWN, abs=0.006)
    assert found.breakdown_at_least_V is None
    assert found.protection_V == pytest.approx(PROTECTION, abs=0.02)
    assert found.hysteresis_decades > 0.5
    area = STEP * (reverse - np.interp(DOWN, UP, forward)).sum()
    assert found.hysteresis_uA_V_per_cm2 == pytest.approx(area, rel=0.1)
    assert found.hysteresis_uA_V_per_cm2 > 0


def test_no_breakdown_up_to_the_vertex_is_a_lower_bound():
    found = analyse_cyclic(UP, _noisy(_passive(UP)), ZERO, DOWN, 0.7 * _noisy(_passive(DOWN), 1))
    assert (found.kind, found.breakdown_V) == ("none", None)
    assert found.breakdown_at_least_V == pytest.approx(UP[-1])
    assert found.protection_V is None
    assert found.hysteresis_decades < 0


def test_oxygen_evolution_is_no_breakdown():
    found = analyse_cyclic(UP, *[_retraced()[0]], ZERO, DOWN, _retraced()[1], oxygen_V=0.3)
    assert found.kind == "oxygen evolution"
    assert found.breakdown_V is None
    assert found.breakdown_at_fixed_density_V is None
    assert found.breakdown_at_least_V == pytest.approx(UP[-1])
    assert found.rise.rise_V == pytest.approx(BREAKDOWN, abs=0.006)
    assert "oxygen" in found.warnings[0]


@pytest.mark.parametrize("oxygen", [None, 0.9], ids=["pH not known", "below the line"])
def test_retraced_rise_is_a_uniform_reaction(oxygen):
    forward, reverse = _retraced()
    found = analyse_cyclic(UP, forward, ZERO, DOWN, reverse, oxygen_V=oxygen)
    assert found.kind == "uniform reaction"
    assert found.breakdown_V is None
    assert ("State pH" in found.warnings[0]) == (oxygen is None)


def test_without_reverse_run():
    """Above the oxygen line it stays open; below, and below that of any pH, it is breakdown."""
    forward = _pitting()[0]
    open_ = analyse_cyclic(UP, forward, ZERO)
    assert open_.kind == "undecided"
    assert (open_.breakdown_V, open_.breakdown_at_least_V) == (None, None)
    assert analyse_cyclic(UP, forward, ZERO, oxygen_V=0.3).kind == "undecided"
    for known in ({"oxygen_V": 0.9}, {"lowest_oxygen_V": 0.9}):
        found = analyse_cyclic(UP, forward, ZERO, **known)
        assert found.kind == "breakdown"
        assert "hysteresis is not checked" in found.warnings[0]
        assert any("no protection" in text for text in found.warnings)


def test_reverse_run_that_never_meets_is_an_upper_bound():
    forward, reverse = _pitting()
    short = DOWN > 0.2
    found = analyse_cyclic(UP, forward, ZERO, DOWN[short], reverse[short])
    assert found.protection_V is None
    assert found.protection_at_most_V == pytest.approx(0.2, abs=0.01)
    assert "does not meet" in found.warnings[0]


def test_fixed_density_and_rules():
    forward, reverse = _pitting()
    found = analyse_cyclic(
        UP, forward, ZERO, DOWN, reverse, rules=CyclicRules(breakdown_density_uA_per_cm2=20.0)
    )
    at = np.interp(found.breakdown_at_fixed_density_V, UP, forward)
    assert at == pytest.approx(20.0, rel=0.07)


def test_active_metal_says_why():
    found = analyse_cyclic(UP, 10 ** ((UP - ZERO) / 0.1) - 1, ZERO)
    assert found.passive is None
    assert "no passive stretch" in found.refused
    assert found.breakdown_at_least_V is None


def test_oxygen_line():
    """1.229 V at pH 0 and 25 °C, 0.0592 V less a pH; at 37 °C lower by 0.85 mV/K."""
    assert oxygen_equilibrium_V_SHE(0.0) == pytest.approx(1.229)
    assert oxygen_equilibrium_V_SHE(7.0) == pytest.approx(0.815, abs=1e-3)
    assert oxygen_equilibrium_V_SHE(0.0, 37.0) == pytest.approx(1.2188, abs=1e-4)


WIDE = np.arange(-0.25, 0.6, STEP)


def _film(potential, share=1.0):
    return share * PASSIVE * np.tanh((potential + 0.2) / 0.02)


def _cyclic(pits_up, pits_down, seed=0):
    """Pits over a film from -0.2 to 0.6 V, 2 % noise."""
    up = _noisy(_film(WIDE) + pits_up(WIDE), seed)
    down = _noisy(_film(WIDE, 0.8) + pits_down(WIDE), seed + 1)
    return analyse_cyclic(WIDE, up, -0.2, WIDE[::-1], down[::-1])


def _line(start, per_V, most=np.inf):
    return lambda potential: np.minimum(per_V * np.clip(potential - start, 0, None), most)


def test_jump_and_ohmic_branches():
    """Jump to 40 times the passive current at 0.350 V, then ohmic; the reverse run closes at 0.050 V."""
    for seed in range(0, 10, 2):
        found = _cyclic(lambda e: np.where(e > 0.35, 20 + 800 * (e - 0.35), 0), _line(0.05, 400), seed)
        assert found.kind == "breakdown"
        assert found.breakdown_V == pytest.approx(0.35, abs=0.003)
        assert found.protection_V == pytest.approx(0.05, abs=0.005)
        assert found.warnings == ()


def test_pits_at_the_limit_of_the_instrument():
    found = _cyclic(_line(0.35, 3e5, 500), _line(0.05, 3000, 500))
    assert found.kind == "breakdown"
    assert found.breakdown_V == pytest.approx(0.35, abs=0.003)
    assert found.protection_V == pytest.approx(0.05, abs=0.005)
    assert found.hysteresis_decades > 2


def test_pit_that_starts_at_the_vertex_is_no_lower_bound():
    found = _cyclic(_line(0.59, 200), lambda e: _line(0.05, 900)(e) * np.clip((0.6 - e) / 0.03, 0, 1))
    assert (found.kind, found.breakdown_at_least_V) == ("breakdown", None)
    assert found.rise.rise_V is None
    assert found.breakdown_range_V[0] == found.breakdown_V == pytest.approx(0.59, abs=0.004)
    assert found.breakdown_range_V[1] == found.vertex_V
    assert "at the vertex or just below it" in found.warnings[0]


def test_weak_loops_are_undecided():
    """Twice the current on the way back, without a rise and below a retraced rise, is no pit for sure."""
    found = _cyclic(lambda e: 0 * e, lambda e: _film(e, 1.2))
    assert (found.kind, found.breakdown_V, found.breakdown_at_least_V) == ("undecided", None, None)
    assert "sweep further" in found.warnings[0]
    rise = _line(0.4, 4000)
    found = _cyclic(rise, lambda e: rise(e) + _film(e, 1.2))
    assert (found.kind, found.breakdown_V, found.breakdown_at_least_V) == ("undecided", None, None)
    assert "just below" in found.warnings[0]


def test_loop_that_closes_above_breakdown_is_warned_about():
    found = _cyclic(_line(0.2, 100), _line(0.25, 3000))
    assert found.kind == "breakdown"
    assert found.protection_V > found.breakdown_range_V[1]
    assert "above the breakdown potential" in found.warnings[0]


def test_large_passive_current_is_warned_about_and_a_limit_refused():
    assert "usually let through" in analyse_cyclic(WIDE, 600 * _film(WIDE), -0.2).warnings[0]
    limit = analyse_cyclic(WIDE, 2e4 * _film(WIDE), -0.2)
    assert (limit.passive, limit.breakdown_at_least_V) == (None, None)
    assert "no passive film" in limit.refused
