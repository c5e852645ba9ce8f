"""Local against general loss."""

from __future__ import annotations

import math

import pytest

from surfscan.comparison.locality import pit_against_section, pitting_factor, share_in_pits


def test_pitting_factor() -> None:
    found = pitting_factor(60.0, 12.0, deepest_um_ci95=(57.0, 63.0), mean_penetration_um_ci95=(11.0, 13.0))
    assert found.value == pytest.approx(5.0) and found.bound == ""
    assert found.ci95 is not None
    half = 5 * math.hypot(3 / 60, 1 / 12)  # to first order
    assert found.ci95 == pytest.approx((5 - half, 5 + half), rel=0.02)
    assert found.sentence.startswith("The deepest pit goes 5 (4.")


@pytest.mark.parametrize(("hidden", "original"), [(True, True), (False, False)])
def test_pitting_factor_as_lower_bound(hidden: bool, original: bool) -> None:
    found = pitting_factor(60.0, 12.0, deepest_is_lower_bound=hidden, from_original_level=original)
    assert (found.value, found.bound, found.ci95) == (5.0, "at least", None)
    assert "at least 5 times" in found.sentence and ("today's surface" in found.sentence) != original


def test_pitting_factor_below_one_from_the_surface_of_today_is_none() -> None:
    found = pitting_factor(6.0, 12.0, from_original_level=False)
    assert found.value is None and "shallower than the average" in found.refused


def test_pitting_factor_below_one_is_said() -> None:
    assert "below 1" in pitting_factor(6.0, 12.0).sentence
    assert "below 1" not in pitting_factor(60.0, 12.0).sentence


@pytest.mark.parametrize(
    ("deepest", "mean", "limits", "why"),
    [
        (None, 12.0, None, "no pit depth"),
        (60.0, None, None, "average penetration is not known"),
        (60.0, math.nan, None, "average penetration is not known"),
        (60.0, 0.0, None, "told from none"),
        (60.0, 1.0, (-0.5, 2.5), "told from none"),
    ],
)
def test_pitting_factor_refused(
    deepest: float | None, mean: float | None, limits: tuple[float, float] | None, why: str
) -> None:
    found = pitting_factor(deepest, mean, mean_penetration_um_ci95=limits)
    assert (found.value, found.sentence) == (None, "") and why in found.refused


def test_share_in_pits() -> None:
    found = share_in_pits(
        3.0, 12.0, volume_per_area_um_ci95=(2.7, 3.3), mean_penetration_um_ci95=(11.4, 12.6)
    )
    assert found.value == pytest.approx(0.25)
    assert found.sentence.startswith("Pits hold 25 % (22.") and found.ci95 is not None
    assert (
        share_in_pits(3.0, 12.0, volume_is_lower_bound=True).sentence
        == "Pits hold at least 25 % of the loss."
    )
    assert "no pit volume" in share_in_pits(None, 12.0).refused
    assert "whole loss is not known" in share_in_pits(3.0, None).refused


def test_more_in_pits_than_was_lost_is_said_only_beyond_the_interval() -> None:
    limits = {"volume_per_area_um_ci95": (10.0, 16.0), "mean_penetration_um_ci95": (11.0, 13.0)}
    assert "more than all" not in share_in_pits(13.0, 12.0, **limits).sentence  # type: ignore[arg-type]
    assert "more than all of it" in share_in_pits(13.0, 12.0).sentence


@pytest.mark.parametrize(
    ("deepest", "left", "said"),
    [
        (60.0, 0.7, "deeper than the section shows"),
        (20.0, 0.7, "the section tells more"),
        (130.0, 0.7, "goes through"),
        (20.0, 1.02, "has lost nothing"),
    ],
)
def test_pit_against_section(deepest: float, left: float, said: str) -> None:
    found = pit_against_section(deepest, 120.0, left)
    assert found.depth_share == pytest.approx(deepest / 120) and said in found.sentence
    assert found.section_lost_fraction == pytest.approx(1 - left)


def test_pit_against_section_with_hidden_floor() -> None:
    assert (
        "takes at least 50 %" in pit_against_section(60.0, 120.0, 0.4, deepest_is_lower_bound=True).sentence
    )
    with pytest.raises(ValueError, match="cannot be"):
        pit_against_section(60.0, 0.0, 0.4)
