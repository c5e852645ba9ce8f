"""What a rig log makes one say: faults of the file, of the clock and of sensors, each with its place."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from surfscan.immersion.exposure_run import ExposureRun
from surfscan.immersion.exposure_tables import ChannelFindings
from surfscan.immersion.log_blocks import Faults
from surfscan.immersion.log_clock import LogClock, duration_text
from surfscan.immersion.log_reading import LogReader
from surfscan.immersion.log_times import HOUR_US
from surfscan.immersion.log_units import PLAUSIBLE, UNIT_OF

_LACKING_SHARE = 0.005
"""Share of the logged time without usable readings of a channel from which it is said."""


def log_warnings(
    path: Path,
    reader: LogReader,
    clock: LogClock,
    run: ExposureRun,
    findings: Sequence[ChannelFindings],
    start_us: int,
) -> list[str]:
    """Warnings of a log that was gone through.

    Parameters
    ----------
    path : Path
    reader : LogReader
    clock : LogClock
    run : ExposureRun
    findings : sequence of ChannelFindings
    start_us : int
        Immersion.

    Returns
    -------
    list of str
    """
    said = [*_fault_words(reader), *_clock_words(path, clock, run, start_us)]
    for one in findings:
        name = one.channel.name
        if one.total.readings == 0:
            said.append(f"The column of {name} ({one.channel.heading!r}) holds no readings.")
        else:
            said += _missing_words(one, run, start_us)
        if one.runs.is_constant and name != "acid":
            said.append(
                f"{name} reads the same from start to end: a dead sensor cannot be told from a steady one."
            )
        for runs, what in (
            (one.runs.frozen, "the sensor was frozen"),
            (
                one.runs.doubtful,
                "its noise is below the last digit, so whether it was frozen cannot be told",
            ),
        ):
            if runs:
                longest = max(runs, key=lambda each: each.end_us - each.start_us)
                more = f", and {len(runs) - 1} more" if len(runs) > 1 else ""
                length = duration_text(longest.end_us - longest.start_us)
                said.append(
                    f"{name} stayed at {longest.value:g} for {length} from "
                    f"{(longest.start_us - start_us) / HOUR_US:.4g} h on{more}: {what}."
                )
    return said


def _missing_words(one: ChannelFindings, run: ExposureRun, start_us: int) -> list[str]:
    """Where a channel has no usable reading for long while the log goes on."""
    assert run.trace is not None and run.first_us is not None and run.last_us is not None
    logged_h = (run.last_us - run.first_us) / HOUR_US
    inner_gaps = [(a, b) for a, b in run.gaps if a >= run.first_us and b <= run.last_us]
    lacking_h = logged_h - one.known_h - sum(b - a for a, b in inner_gaps) / HOUR_US
    if lacking_h <= _LACKING_SHARE * logged_h:
        return []
    text = f"{one.channel.name} has no usable reading for {lacking_h:.3g} h while the log goes on"
    k = run.channels.index(one.channel)
    has_none = np.concatenate([[False], run.trace.counts(k) == 0, [False]])
    edges = np.flatnonzero(np.diff(has_none.astype(np.int8)))
    if len(edges):
        starts, ends = edges[::2], edges[1::2]
        i = int(np.argmax(ends - starts))
        from_h = (run.first_us + int(starts[i]) * run.trace.width_us - start_us) / HOUR_US
        length_us = int(ends[i] - starts[i]) * run.trace.width_us
        if length_us > 0.5 * HOUR_US * lacking_h / len(starts):
            text += (
                f", the longest stretch of about {duration_text(length_us)} from {max(from_h, 0.0):.4g} h on"
            )
    return [text + ": not known to be in range."]


def _fault_words(reader: LogReader) -> list[str]:
    said = []
    for key, faults in reader.faults.items():
        if not faults.count:
            continue
        count = faults.count
        if key == "line":
            what = _many(count, "line is no reading", "lines are no readings")
        elif key.endswith(" out of range"):
            name = key.removesuffix(" out of range")
            low, high = PLAUSIBLE[name]
            unit = UNIT_OF[name] if name != "pH" else ""
            what = _many(count, f"value of {name} is", f"values of {name} are")
            what += f" beyond what a sensor in a bath can read ({low:g} to {high:g} {unit}".rstrip() + ")"
        else:
            what = _many(count, f"field of {key} is no number", f"fields of {key} are no numbers")
        said.append(f"{what}, left out: {_places(faults)}.")
    return said


def _many(count: int, one: str, more: str) -> str:
    return f"{count} {one if count == 1 else more}"


def _places(faults: Faults) -> str:
    shown = ", ".join(f"line {line} ({text})" for line, text in faults.places)
    return shown + (" ..." if faults.count > len(faults.places) else "")


def _clock_words(path: Path, clock: LogClock, run: ExposureRun, start_us: int) -> list[str]:
    said = []
    for step in clock.steps:
        if step.kind == "daylight saving":
            way = "forwards" if 1e6 * step.jump_s > step.after_us - step.before_us else "back"
            said.append(
                f"Line {step.line}: the clock was put {way} by one hour while sampling went on, taken as "
                "daylight-saving time and mended. If the logger paused instead, set clock_changes = 'none', "
                "or give it times with a zone."
            )
        elif step.kind == "doubtful hour":
            said.append(
                f"Line {step.line}: one hour more than usual went by when clocks change. A reading may be "
                "missing, or the clock was put: times after may be one hour off. Set clock_changes to 'any' "
                "or 'none', or give times with a zone."
            )
        elif step.kind == "backwards":
            said.append(
                f"Line {step.line}: the clock goes back by {duration_text(round(-1e6 * step.jump_s))}; "
                "mended by the rule that this reading follows the one before by one usual interval."
            )
    if run.gap_count:
        longest = max(run.gaps, key=lambda gap: gap[1] - gap[0])
        said.append(
            f"{_many(run.gap_count, 'gap', 'gaps')} without readings, {run.gap_us / HOUR_US:.3g} h in all, "
            f"the longest of {duration_text(longest[1] - longest[0])} from "
            f"{(longest[0] - start_us) / HOUR_US:.4g} h on: immersed, but not known to be in range."
        )
    if run.gap_count > 0.02 * run.rows and run.gap_count > 5:
        said.append(
            "Sampling is uneven: more than 2 % of the intervals count as gaps. State sampling_interval_s or "
            "gap_intervals if the log is meant to be so."
        )
    if run.duplicates:
        said.append(
            f"{_many(run.duplicates, 'row repeats', 'rows repeat')} the one before to the digit, left out."
        )
    if clock.repeats > run.duplicates:
        said.append(
            f"{clock.repeats - run.duplicates} stamps are those of the reading before: of such readings the "
            "last one counts for the time until the next."
        )
    return said
