"""Sentences of the page about potential sweeps."""

from __future__ import annotations

import math
from collections.abc import Sequence

from surfscan.report.pooling import count
from surfscan.report.rate_records import RateRecord
from surfscan.report.rate_tables import no_current
from surfscan.report.rounding import round_to_interval, significant

NOT_MEASURED = (
    "How the electrode would corrode when left alone: a sweep drives it from its rest potential, and what it "
    "leaves on the surface changes the rate. Its corrosion current holds for the moment of the sweep.",
)

METHOD = (
    "Sweeps: anodic current is positive. Zero-current potential from a straight line through the points "
    "about it. The result is by the fit of both branches (activation, or a cathodic limiting current, chosen "
    "by an information criterion) where it is defensible, else by Tafel extrapolation, else by polarization "
    "resistance (Stern-Geary); where none is, it is refused with the reason.",
    "Intervals of a corrosion current hold the scatter of points that follow one another, the choice of the "
    "window (refitted over all that are plausible) and the wetted surface.",
    "Breakdown is told from oxygen evolution and uniform reaction by the hysteresis of the run back. Where "
    "the current never rose, the breakdown potential is at least the vertex (≥): a censored value, not a "
    "measured one.",
)


def sweep_sentences(sweeps: Sequence[RateRecord]) -> list[str]:
    """For the summary."""
    done = [r for r in sweeps if r.done]
    given = [r for r in done if not no_current(r)]
    text = f"{count(len(sweeps), 'sweep')}: corrosion current from {len(given)}"
    if len(done) > len(given):
        text += f", refused for {len(done) - len(given)}"
    if len(sweeps) > len(done):
        text += f", {len(sweeps) - len(done)} without a result"
    out = [text + "."]
    passive = [r for r in done if r.value("passive_window_V") is not None]
    if passive:
        broken = [r.figure("breakdown_V") for r in passive if r.value("breakdown_V") is not None]
        held = sum(r.value("breakdown_at_least_V") is not None for r in passive)
        text = f"{count(len(passive), 'sweep')} with a passive stretch"
        parts = []
        if broken:
            low, high = min(broken), max(broken)
            at = f"{low:.3f}" if len(broken) == 1 else f"{low:.3f} to {high:.3f}"
            parts.append(f"breakdown in {len(broken)} at {at}\u00a0V".replace("-", "−"))
        if held:
            parts.append(f"no breakdown up to the vertex in {held}")
        out.append(text + (f": {', '.join(parts)}." if parts else "."))
    return out


def sweep_caption(record: RateRecord) -> str:
    """What a sweep gave, how sure, and why not more."""
    where = f"Specimen {record.specimen_names}"
    where += f", twin of {record.twin_of}" if record.twin_of else ""
    runs = record.figure("scan_count")
    rate = record.figure("scan_rate_V_per_s")
    said = "1 run" if runs == 1 else f"run {record.figure('scan'):.0f} of {runs:.0f}"
    if math.isfinite(rate):
        said += f", {significant(1000 * rate)}\u00a0mV/s"
    out = [f"{where}; {said}."]
    zero = estimate(record, "Ecorr_V", "V")
    if zero:
        out.append(f"Zero current at {zero}.")
    refused = no_current(record)
    if refused:
        out.append(f"No corrosion current: {refused}.")
    else:
        current = estimate(record, "icorr_uA_per_cm2", "µA/cm²")
        current = current or estimate(record, "corrosion_current_uA", "µA")
        out.append(f"Corrosion current {current} by {record.text('method')} ({record.text('method_note')}).")
        out.append(_slopes(record))
    resistance = estimate(record, "polarization_resistance_ohm_cm2", "ohm\u00a0cm²")
    if resistance:
        out.append(f"Polarization resistance {resistance}.")
    elif record.text("polarization_refused") and not refused:
        out.append(f"No polarization resistance: {record.text('polarization_refused')}.")
    return " ".join(filter(None, out))


def cyclic_caption(record: RateRecord) -> str:
    """What the loop says of passivity."""
    out = []
    passive = estimate(record, "passive_current_density_uA_per_cm2", "µA/cm²")
    if passive:
        out.append(f"Passive current density {passive}.")
    kind = record.text("rise_is")
    if record.value("breakdown_V") is not None:
        out.append(f"Breakdown at {volts(record.figure('breakdown_V'))}{_margin(record, 'breakdown')}.")
    elif record.value("breakdown_at_least_V") is not None:
        vertex = volts(record.figure("breakdown_at_least_V"))
        out.append(f"No breakdown up to the vertex: breakdown potential ≥\u00a0{vertex} (censored).")
    if kind not in ("", "none", "breakdown") and record.value("rise_V") is not None:
        rise = f"The rise at {volts(record.figure('rise_V'))}"
        undecided = "may be breakdown or not: it cannot be told from this sweep"
        out.append(f"{rise} {undecided if kind == 'undecided' else f'is taken for {kind}'}.")
    if record.value("protection_V") is not None:
        out.append(f"Protection at {volts(record.figure('protection_V'))}{_margin(record, 'protection')}.")
    elif record.value("protection_at_most_V") is not None:
        out.append(f"No protection potential down to {volts(record.figure('protection_at_most_V'))}.")
    hysteresis = record.figure("hysteresis_decades")
    if math.isfinite(hysteresis):
        way = "more" if hysteresis > 0 else "less"
        size = significant(abs(hysteresis), 2)
        out.append(f"On the way back the current is {size} decades {way} than on the way up.")
    return " ".join(out)


def estimate(record: RateRecord, name: str, unit: str) -> str:
    """A figure with unit and interval; empty where there is none."""
    value = record.figure(name)
    if math.isnan(value):
        return ""
    if name == "Ecorr_V":
        interval = potential_interval(record)
        return f"{tenths(value)}\u00a0{unit}" + (f" ({interval})" if interval else "")
    number = round_to_interval(value, *record.interval(name))
    return f"{number.value}\u00a0{unit}" + (f" ({number.interval})" if number.has_interval else "")


def tenths(value: float) -> str:
    """A potential to a tenth of a millivolt: no electrode is known to less."""
    return f"{value:.4f}".replace("-", "−")


def potential_interval(record: RateRecord) -> str:
    """The 95 % interval of the zero-current potential; empty where there is none."""
    low, high = record.interval("Ecorr_V")
    return "" if math.isnan(low) else f"{tenths(low)} to {tenths(high)}"


def volts(value: float) -> str:
    """A potential to the millivolt."""
    return f"{value:.3f}\u00a0V".replace("-", "−")


def _slopes(record: RateRecord) -> str:
    said = [
        f"{name} {text}"
        for name in ("anodic", "cathodic")
        if (text := estimate(record, f"{name}_slope_mV_per_decade", "mV/decade"))
    ]
    limit = estimate(record, "limiting_current_uA_per_cm2", "µA/cm²")
    text = f"Slopes: {', '.join(said)}." if said else ""
    return text + (f" Limiting current {limit}." if limit else "")


def _margin(record: RateRecord, name: str) -> str:
    margin = record.figure(f"{name}_margin_V")
    if math.isnan(margin):
        return ""
    way = "above" if margin >= 0 else "below"
    return f", {volts(abs(margin))} {way} the {record.text('margin_from')}"
