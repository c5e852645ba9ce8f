"""Measure a rig log: time in range, excursions, drift, clogging, acid and a verdict, in one pass."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from surfscan.columns import Table
from surfscan.errors import InputError
from surfscan.images import Source
from surfscan.immersion.acid_balance import balance_acid
from surfscan.immersion.clogging import HydraulicResistance, hydraulic_resistance
from surfscan.immersion.exposure_run import ExposureRun
from surfscan.immersion.exposure_settings import BANDS, ExposureSettings
from surfscan.immersion.exposure_tables import (
    ChannelFindings,
    acid_table,
    channels_table,
    excursions_table,
    trace_table,
)
from surfscan.immersion.exposure_window import Window, find_window, stamp_text
from surfscan.immersion.exposure_words import log_warnings
from surfscan.immersion.frozen import FrozenRun, FrozenRuns
from surfscan.immersion.instrument_checks import InstrumentCheck, judge_check
from surfscan.immersion.log_clock import LogClock
from surfscan.immersion.log_reading import LogReader
from surfscan.immersion.log_times import DAY_US, HOUR_US
from surfscan.immersion.settings import ImmersionSettings
from surfscan.immersion.verdict import JudgedChannel, judge_exposure
from surfscan.materials.material import Material
from surfscan.procedures.result import Result


def measure_exposure(
    path: str | Path,
    settings: ExposureSettings | None = None,
    *,
    material: Material | None = None,
    area_cm2: float | None = None,
    area_relative_uncertainty: float | None = None,
    start: str | float | None = None,
    stop: str | float | None = None,
    checks: Sequence[InstrumentCheck] = (),
    immersion_settings: ImmersionSettings | None = None,
) -> Result:
    """Measure a rig log.

    The file is read once, in blocks, so that memory does not grow with it.

    Parameters
    ----------
    path : str or Path
        Delimited text: a column of time (or of date and of time of day), and columns with name and unit.
    settings : ExposureSettings, optional
    material : Material, optional
        Needed, with `area_cm2` and the concentration of the acid, for rates from acid.
    area_cm2 : float, optional
        Wetted surface of all specimens in the bath.
    area_relative_uncertainty : float, optional
    start, stop : str or float, optional
        When specimens went in and came out: a stamp, or hours since the first reading. Unset: first and last
        reading. Immersed hours count from one to the other, logged or not.
    checks : sequence of InstrumentCheck, optional
    immersion_settings : ImmersionSettings, optional
        Uncertainties of dosed volumes.

    Returns
    -------
    Result
        Procedure "exposure". Tables "channels", "excursions" (with gaps, frozen stretches and steps of the
        clock), "acid_over_time" and "log_trace" (at most 2000 bins a channel).

    Raises
    ------
    InputError
        If the file cannot be read as a log, its clock goes back, or nothing lies in the window.
    ValueError
        If the area is not above 0.
    """
    chosen = settings or ExposureSettings()
    if area_cm2 is not None and not 0 < area_cm2 < np.inf:
        raise ValueError(f"the area must be above 0 cm², got {area_cm2!r}")
    path = Path(path)
    outcomes = [judge_check(check, chosen) for check in checks]
    reader = LogReader(path, chosen)
    run: ExposureRun | None = None
    clock: LogClock | None = None
    window = Window(None, None)
    begin_us = 0
    for page in reader.pages():
        assert reader.form is not None
        if run is None or clock is None:
            clock = LogClock(path, reader.form.time, chosen)
            begin_us = int(page.time_us[0])
            window = find_window(path, reader.form.time, begin_us, start, stop)
            run = ExposureRun(reader.form.channels, chosen, window.start_us, window.stop_us)
        times, held = clock.mend(page.time_us, page.line)
        if window.start_us is not None and window.is_start_stamp:
            run.start_us = clock.mended(window.start_us, first=True)
        if window.stop_us is not None and window.is_stop_stamp:
            run.stop_us = clock.mended(window.stop_us, first=False)
        run.take(times, held, page.values, clock.interval_us)
    if run is None or clock is None or reader.form is None:
        raise InputError(path, "the file holds no readings", "Export the log with its readings")
    if run.first_us is None or run.last_us is None or run.trace is None:
        raise InputError(
            path, "no reading lies between start and stop", "State start and stop within the log"
        )
    run.finish()
    start_us = run.first_us if run.start_us is None else run.start_us
    stop_us = run.last_us if run.stop_us is None else run.stop_us
    if stop_us <= start_us:
        what = "one reading" if run.rows == 1 else "readings of one moment only"
        raise InputError(path, f"the log holds {what}", "An exposure needs two readings at different times")
    _add_unlogged(run, start_us, stop_us, clock, chosen)
    immersed_h = (stop_us - start_us) / HOUR_US
    findings = _findings(run, reader, start_us, immersed_h)
    resistance = _resistance(run, start_us, chosen)
    balance = balance_acid(
        run,
        start_us,
        chosen,
        material=material,
        area_cm2=area_cm2,
        area_relative_uncertainty=area_relative_uncertainty,
        immersion_settings=immersion_settings,
        words=_acid_words(reader),
    )
    verdict = judge_exposure(
        immersed_h,
        _judged(findings, chosen, immersed_h),
        chosen,
        gap_h=run.gap_us / HOUR_US,
        steps_back=clock.counts.get("backwards", 0),
        clock_changes=clock.counts.get("daylight saving", 0) + clock.counts.get("doubtful hour", 0),
        resistance=resistance,
        acid=balance.reservations,
        checks=outcomes,
    )
    warnings = [*reader.warnings, *log_warnings(path, reader, clock, run, findings, start_us)]
    warnings += [*balance.warnings, *(note for one in outcomes for note in one.warnings)]
    in_range_h = _in_range_h(run, findings)
    has_date = reader.form.time.kind in ("stamp", "epoch")
    summary: dict[str, Any] = {
        "start": stamp_text(clock.stamp(start_us), reader.form.time) if has_date else None,
        "stop": stamp_text(clock.stamp(stop_us), reader.form.time) if has_date else None,
        "immersed_h": immersed_h,
        "in_range_h": in_range_h,
        "in_range_fraction": None if in_range_h is None else in_range_h / immersed_h,
        "verdict": verdict.word,
        "verdict_reasons": verdict.as_list(),
        "readings": run.rows,
        "sampling_interval_s": clock.interval_us / 1e6 if clock.interval_us else None,
        "gap_count": run.gap_count,
        "gap_h": run.gap_us / HOUR_US,
        "excursion_count": sum(one.excursion_count for one in findings),
        "longest_excursion_h": max((one.longest_excursion_h for one in findings), default=0.0),
        "lines_left_out": reader.faults["line"].count,
        "repeated_rows_left_out": run.duplicates,
        "clock_steps": dict(clock.counts) | {"gap": run.gap_count},
        "hydraulic_resistance": None if resistance is None else resistance.as_dict(),
        "acid_balance": balance.as_dict(),
        "checks": [one.as_dict() for one in outcomes],
        "material": None if material is None else material.name,
        "area_cm2": area_cm2,
    }
    tables: dict[str, Table] = {
        "channels": channels_table(findings),
        "excursions": excursions_table(findings, run, clock, start_us),
        "acid_over_time": acid_table(balance),
        "log_trace": trace_table(run, reader.form.channels, balance, start_us),
    }
    return Result(
        "exposure",
        Source(str(path), reader.sha256, None, "delimited text"),
        None,
        chosen.model_dump(mode="json"),
        summary,
        tables,
        {},
        tuple(dict.fromkeys(warnings)),
    )


def _add_unlogged(
    run: ExposureRun, start_us: int, stop_us: int, clock: LogClock, settings: ExposureSettings
) -> None:
    """Count time immersed before the first reading and after the last as gaps, where it is long enough."""
    assert run.first_us is not None and run.last_us is not None
    limit = settings.gap_intervals * clock.interval_us
    for a, b in ((start_us, run.first_us), (run.last_us, stop_us)):
        if b - a > limit:
            run.gap_us += b - a
            run.gap_count += 1
            run.gaps.append((a, b))
    run.gaps.sort()


def _findings(run: ExposureRun, reader: LogReader, start_us: int, immersed_h: float) -> list[ChannelFindings]:
    """Every channel summed up."""
    from surfscan.immersion.drift import Drift, drift_per_day

    assert reader.form is not None and run.trace is not None
    days = (run.trace.centres_us() - start_us) / DAY_US
    found = []
    for k, (channel, total) in enumerate(zip(reader.form.channels, run.totals, strict=True)):
        runs = FrozenRuns((), (), False) if total.runs is None else total.runs.finish()
        frozen_us = sum(one.end_us - one.start_us for one in runs.frozen)
        inside_us = total.inside_us
        if total.finder is not None:
            low, high = total.finder.low, total.finder.high
            inside_us -= sum(o.end_us - o.start_us for o in runs.frozen if low <= o.value <= high)
        excursions = total.finder.finish() if total.finder is not None else ()
        drift = (
            Drift(None, None, None, None, 0.0, "Acid only adds up.")
            if channel.name == "acid"
            else drift_per_day(days, run.trace.means(k))
        )
        found.append(
            ChannelFindings(
                channel,
                total,
                drift,
                runs,
                excursions,
                excursion_count=0 if total.finder is None else total.finder.count,
                longest_excursion_h=0.0 if total.finder is None else total.finder.longest_us / HOUR_US,
                least=float(run.trace.lows(k).min()),
                greatest=float(run.trace.highs(k).max()),
                known_h=total.known_us / HOUR_US,
                in_range_h=inside_us / HOUR_US,
                in_range_fraction=inside_us / HOUR_US / immersed_h,
                frozen_h=frozen_us / HOUR_US,
                not_numbers=_count(reader, channel.name),
                implausible=_count(reader, f"{channel.name} out of range"),
            )
        )
    return found


def _count(reader: LogReader, name: str) -> int:
    return reader.faults[name].count if name in reader.faults else 0


def _judged(
    findings: Sequence[ChannelFindings], settings: ExposureSettings, immersed_h: float
) -> list[JudgedChannel]:
    """Channels with a set point, as the verdict wants them."""
    logged = {one.channel.name: one for one in findings}
    judged = []
    for name in BANDS:
        if settings.band(name) is None:
            continue
        one = logged.get(name)
        if one is None or one.total.readings == 0:
            judged.append(JudgedChannel(name, False))
            continue
        judged.append(
            JudgedChannel(
                name,
                True,
                one.in_range_h,
                max(immersed_h - one.known_h + one.frozen_h, 0.0),
                one.frozen_h,
                one.longest_excursion_h,
                one.runs.is_constant,
            )
        )
    return judged


def _in_range_h(run: ExposureRun, findings: Sequence[ChannelFindings]) -> float | None:
    """Time for which all judged channels were in range and none was frozen; None where none is judged."""
    if not run.judged:
        return None
    frozen: list[FrozenRun] = [one for k in run.judged for one in findings[k].runs.frozen]
    lost, end_us, end_mark = 0, None, 0
    for one in sorted(frozen, key=lambda each: (each.start_us, each.end_us)):
        if end_us is None or one.start_us > end_us:
            lost += one.end_mark - one.start_mark
        elif one.end_us > end_us:
            lost += one.end_mark - end_mark
        if end_us is None or one.end_us > end_us:
            end_us, end_mark = one.end_us, one.end_mark
    return (run.joint_us - lost) / HOUR_US


def _resistance(run: ExposureRun, start_us: int, settings: ExposureSettings) -> HydraulicResistance | None:
    """Resistance of the loop; None where the log has no pressure drop or no flow."""
    names = {channel.name for channel in run.channels}
    has_drop = "pressure drop" in names or {"pressure before", "pressure after"} <= names
    if "flow" not in names or not has_drop:
        return None
    assert run.trace is not None
    k = len(run.channels)
    days = (run.trace.centres_us() - start_us) / DAY_US
    return hydraulic_resistance(days, run.trace.means(k), run.trace.means(k + 1), settings.clogging_rise)


def _acid_words(reader: LogReader) -> Sequence[str]:
    assert reader.form is not None
    for channel in reader.form.channels:
        if channel.name == "acid":
            return reader.columns[channel.column].words
    return ()
