"""Tables of a rig log."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from surfscan.columns import Table, conform, empty_table
from surfscan.immersion.acid_balance import AcidBalance
from surfscan.immersion.drift import Drift
from surfscan.immersion.excursions import Excursion
from surfscan.immersion.exposure_run import ChannelTotals, ExposureRun
from surfscan.immersion.frozen import FrozenRuns
from surfscan.immersion.log_channels import Channel
from surfscan.immersion.log_clock import LogClock
from surfscan.immersion.log_times import HOUR_US
from surfscan.immersion.log_units import UNIT_OF


@dataclass(frozen=True)
class ChannelFindings:
    """One channel summed up; figures as the columns of the table "channels" define them."""

    channel: Channel
    total: ChannelTotals
    drift: Drift
    runs: FrozenRuns
    excursions: tuple[Excursion, ...]
    excursion_count: int
    longest_excursion_h: float
    least: float
    greatest: float
    known_h: float
    in_range_h: float
    in_range_fraction: float
    frozen_h: float
    not_numbers: int
    implausible: int


def channels_table(findings: Sequence[ChannelFindings]) -> Table:
    """Table "channels"."""
    rows = [_channel_row(one) for one in findings]
    return _table("channels", rows)


def _channel_row(one: ChannelFindings) -> dict[str, Any]:
    total = one.total
    point, tolerance = total.band or (np.nan, np.nan)
    is_judged = total.band is not None
    low, high = one.drift.ci95 or (np.nan, np.nan)
    has_readings = total.readings > 0
    return {
        "channel": one.channel.name,
        "heading": one.channel.heading,
        "unit": UNIT_OF[one.channel.name] if one.channel.unit.quantity != "count" else "pulses",
        "unit_in_file": one.channel.unit.text,
        "told_by": one.channel.how,
        "readings": total.readings,
        "missing": total.missing,
        "not_numbers": one.not_numbers,
        "implausible": one.implausible,
        "mean": total.mean,
        "sd": total.sd,
        "least": one.least if has_readings else np.nan,
        "greatest": one.greatest if has_readings else np.nan,
        "noise": total.noise,
        "set_point": point,
        "tolerance": tolerance,
        "known_h": one.known_h,
        "in_range_h": one.in_range_h if is_judged else np.nan,
        "in_range_fraction": one.in_range_fraction if is_judged else np.nan,
        "excursions": one.excursion_count,
        "longest_excursion_h": one.longest_excursion_h if is_judged else np.nan,
        "frozen_h": one.frozen_h,
        "drift_per_day": np.nan if one.drift.per_day is None else one.drift.per_day,
        "drift_per_day_ci95_low": low,
        "drift_per_day_ci95_high": high,
        "drift_refused": one.drift.refused,
    }


def excursions_table(
    findings: Sequence[ChannelFindings], run: ExposureRun, clock: LogClock, start_us: int
) -> Table:
    """Table "excursions": in the order of time."""
    rows: list[dict[str, Any]] = []

    def add(channel: str, kind: str, a: int, b: int, **figures: float) -> None:
        nothing = dict.fromkeys(("outside_h", "worst", "beyond", "size"), np.nan)
        times = {"start_h": (a - start_us) / HOUR_US, "length_h": (b - a) / HOUR_US}
        rows.append({"channel": channel, "kind": kind, **times, **nothing, **figures})

    for one in findings:
        for e in one.excursions:
            add(
                one.channel.name,
                e.side,
                e.start_us,
                e.end_us,
                outside_h=e.outside_us / HOUR_US,
                worst=e.worst,
                beyond=e.beyond,
                size=e.size_us / HOUR_US,
            )
        for kind, runs in (("frozen", one.runs.frozen), ("doubtful", one.runs.doubtful)):
            for stretch in runs:
                add(one.channel.name, kind, stretch.start_us, stretch.end_us, worst=stretch.value)
    for a, b in run.gaps:
        add("log", "gap", a, b)
    for step in clock.steps:
        if step.kind != "gap":
            add("log", step.kind, step.before_us, step.after_us)
    rows.sort(key=lambda row: (row["start_h"], row["channel"], row["kind"]))
    return _table("excursions", rows)


def acid_table(balance: AcidBalance) -> Table:
    """Table "acid_over_time"."""
    rows = []
    nothing = (np.nan, np.nan)
    for k in range(1, len(balance.hours)):
        rate = balance.intervals[k - 1] if balance.intervals else None
        row: dict[str, Any] = {
            "starts_h": balance.hours[k - 1],
            "ends_h": balance.hours[k],
            "acid_mL": balance.acid_mL[k],
            "blank_mL": balance.blank_mL[k],
            "acid_mmol": balance.acid_mmol[k],
            "metal_mg": balance.metal_mg[k],
            "refused": balance.refused if rate is None else rate.refused,
        }
        for name in ("rate_mm_per_y", "rate_g_per_m2_d"):
            value = getattr(rate, name, None)
            row[name] = np.nan if value is None else value
            row[f"{name}_ci95_low"], row[f"{name}_ci95_high"] = getattr(rate, f"{name}_ci95", None) or nothing
        rows.append(row)
    return _table("acid_over_time", rows)


def trace_table(run: ExposureRun, channels: Sequence[Channel], balance: AcidBalance, start_us: int) -> Table:
    """Table "log_trace": bins of every channel, of the resistance and of the acid dosed so far."""
    trace = run.trace
    assert trace is not None
    hours = (trace.centres_us() - start_us) / HOUR_US
    parts: list[dict[str, np.ndarray]] = []

    def add(name: str, counts: np.ndarray, lows: np.ndarray, means: np.ndarray, highs: np.ndarray) -> None:
        used = np.flatnonzero(counts > 0)
        parts.append(
            {
                "channel": np.full(len(used), name),
                "time_h": hours[used],
                "readings": counts[used],
                "least": lows[used],
                "mean": means[used],
                "greatest": highs[used],
            }
        )

    for k, channel in enumerate(channels):
        if channel.name != "acid":
            add(channel.name, trace.counts(k), trace.lows(k), trace.means(k), trace.highs(k))
    k = len(channels)
    flow = trace.means(k + 1)
    if (trace.counts(k) > 0).any():
        resistance = np.divide(trace.means(k), flow, out=np.full(len(flow), np.nan), where=flow > 0)
        unknown = np.full(len(flow), np.nan)
        add("resistance", trace.counts(k), unknown, resistance, unknown)
    if balance.trace >= 0:
        row, scale = k + 2 + balance.trace, balance.scale
        zero = 0.0 if balance.kind == "events" else _first(trace.lows(row))
        add(
            "acid",
            trace.counts(row),
            scale * (trace.lows(row) - zero),
            scale * (trace.means(row) - zero),
            scale * (trace.highs(row) - zero),
        )
    return conform("log_trace", {name: np.concatenate([part[name] for part in parts]) for name in parts[0]})


def _first(lows: np.ndarray) -> float:
    return float(lows[np.flatnonzero(np.isfinite(lows))[0]])


def _table(name: str, rows: Sequence[dict[str, Any]]) -> Table:
    if not rows:
        return empty_table(name)
    return conform(name, {key: np.array([row[key] for row in rows]) for key in rows[0]})
