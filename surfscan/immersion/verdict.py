"""Whether an exposure is valid, by stated rules, each reason named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from surfscan.immersion.clogging import HydraulicResistance
from surfscan.immersion.exposure_settings import BANDS, ExposureSettings
from surfscan.immersion.instrument_checks import CheckOutcome

Word = Literal["exposure valid", "exposure valid with reservations", "exposure not valid"]
WORDS: tuple[Word, Word, Word] = (
    "exposure valid",
    "exposure valid with reservations",
    "exposure not valid",
)


@dataclass(frozen=True)
class Reason:
    """One rule that was not met.

    Attributes
    ----------
    rule : str
        Setting or check it comes from.
    severity : {"reservation", "not valid"}
    text : str
    """

    rule: str
    severity: str
    text: str


@dataclass(frozen=True)
class Verdict:
    """The verdict.

    Attributes
    ----------
    word : str
    reasons : tuple of Reason
        Those that make it not valid first.
    """

    word: Word
    reasons: tuple[Reason, ...]

    def as_list(self) -> list[dict[str, Any]]:
        """Reasons ready for JSON."""
        return [{"rule": r.rule, "severity": r.severity, "text": r.text} for r in self.reasons]


@dataclass(frozen=True)
class JudgedChannel:
    """What the verdict needs of a channel with a set point.

    Attributes
    ----------
    name : str
    is_logged : bool
    in_range_h : float
        Known to be in range.
    unknown_h : float
        Immersed, but without a reading that counts: gaps, faults, frozen sensor.
    frozen_h : float
    longest_excursion_h : float
    is_constant : bool
        One value from start to end.
    """

    name: str
    is_logged: bool
    in_range_h: float = 0.0
    unknown_h: float = 0.0
    frozen_h: float = 0.0
    longest_excursion_h: float = 0.0
    is_constant: bool = False


def judge_exposure(
    immersed_h: float,
    channels: Sequence[JudgedChannel],
    settings: ExposureSettings,
    *,
    gap_h: float = 0.0,
    steps_back: int = 0,
    clock_changes: int = 0,
    resistance: HydraulicResistance | None = None,
    acid: Sequence[str] = (),
    checks: Sequence[CheckOutcome] = (),
) -> Verdict:
    """The verdict.

    Not valid where one reason says so; with reservations where any reason stands; else valid.

    Parameters
    ----------
    immersed_h : float
    channels : sequence of JudgedChannel
        Those with a set point, logged or not.
    settings : ExposureSettings
    gap_h : float, optional
        Immersed without readings.
    steps_back : int, optional
        Times that the clock went back and was mended.
    clock_changes : int, optional
        Steps of one hour taken, or perhaps to take, as daylight-saving time.
    resistance : HydraulicResistance, optional
    acid : sequence of str, optional
        What speaks against the total of the acid.
    checks : sequence of CheckOutcome, optional

    Returns
    -------
    Verdict
    """
    reasons: list[Reason] = []

    def add(rule: str, is_fatal: bool, text: str) -> None:
        reasons.append(Reason(rule, "not valid" if is_fatal else "reservation", text))

    if not channels:
        stated = ", ".join(point for point, _ in BANDS.values())
        add("set points", False, f"No set point is stated ({stated}): nothing was held against one.")
    for one in channels:
        if not one.is_logged:
            add("set points", False, f"The log has no readings of {one.name}, which has a set point.")
            continue
        share = one.in_range_h / immersed_h if immersed_h else 0.0
        if share < settings.valid_in_range_fraction:
            is_fatal = share < settings.least_in_range_fraction
            limit = settings.least_in_range_fraction if is_fatal else settings.valid_in_range_fraction
            rest = f"; {one.unknown_h:.3g} h are not known" if one.unknown_h > 0.005 * immersed_h else ""
            add(
                "least_in_range_fraction" if is_fatal else "valid_in_range_fraction",
                is_fatal,
                f"{one.name} is known to be in range for {100 * share:.3g} % of the immersed time (limit "
                f"{100 * limit:g} %){rest}.",
            )
        if one.longest_excursion_h > settings.longest_excursion_h:
            is_fatal = one.longest_excursion_h > settings.fatal_excursion_h
            limit = settings.fatal_excursion_h if is_fatal else settings.longest_excursion_h
            add(
                "fatal_excursion_h" if is_fatal else "longest_excursion_h",
                is_fatal,
                f"{one.name} was out of range for {one.longest_excursion_h:.3g} h on end (limit "
                f"{limit:g} h).",
            )
        if one.frozen_h > 0:
            add("frozen_h", False, f"The {one.name} sensor was frozen for {one.frozen_h:.3g} h.")
        if one.is_constant:
            add(
                "frozen_h",
                False,
                f"{one.name} reads the same from start to end: a dead sensor cannot be told from a "
                "steady one.",
            )
    share = gap_h / immersed_h if immersed_h else 0.0
    if share > settings.largest_gap_fraction:
        is_fatal = share > settings.fatal_gap_fraction
        limit = settings.fatal_gap_fraction if is_fatal else settings.largest_gap_fraction
        add(
            "fatal_gap_fraction" if is_fatal else "largest_gap_fraction",
            is_fatal,
            f"{100 * share:.3g} % of the immersed time has no readings (limit {100 * limit:g} %).",
        )
    if steps_back:
        add("clock_backwards", False, f"The clock went back {_times(steps_back)}; times after are estimates.")
    if clock_changes:
        add(
            "clock_changes",
            False,
            f"The clock stepped by one hour {_times(clock_changes)}, by its time a change of daylight-saving "
            "time; if it was none, immersed hours are one hour off for each.",
        )
    if resistance is not None and resistance.is_clogging:
        assert resistance.rise_fraction is not None
        add(
            "clogging_rise",
            False,
            f"The hydraulic resistance rose by {100 * resistance.rise_fraction:.3g} %: a sign of clogging.",
        )
    for text in acid:
        add("acid total", False, text)
    for check in checks:
        if check.severity:
            add(f"check of {check.instrument}", check.severity == "not valid", check.reason)
        if check.instrument == "pH probe" and settings.pH_tolerance is not None:
            reach = abs(check.offset) + 2 * check.standard_uncertainty
            if reach > settings.pH_tolerance:
                add(
                    "check of pH probe",
                    False,
                    f"The pH may be wrong by {reach:.2g}, which is more than its tolerance of "
                    f"{settings.pH_tolerance:g}: whether it was in range is not known.",
                )
    reasons.sort(key=lambda reason: reason.severity != "not valid")
    fatal = any(reason.severity == "not valid" for reason in reasons)
    return Verdict(WORDS[2] if fatal else WORDS[1] if reasons else WORDS[0], tuple(reasons))


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"
