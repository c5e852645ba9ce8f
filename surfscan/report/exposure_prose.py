"""Sentences of the page about rig logs."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from surfscan.report.pooling import count
from surfscan.report.rate_records import RateRecord
from surfscan.report.rounding import round_to_interval, significant

_MOST_SENTENCES = 4

NOT_MEASURED = (
    "What a rig log does not record, and what its sensors read wrong: a verdict holds for the channels that "
    "have a set point.",
)

METHOD = (
    "Rig logs: a reading stands until the next one; longer waits are gaps, immersed but not known to be in "
    "range. Immersed hours enter rates; in-range hours judge validity only. Drift is the slope of a straight "
    "line, its interval widened for readings that follow one another.",
    "Hydraulic resistance is pressure drop over flow; a rise whose lower limit passes the stated share is a "
    "sign of clogging. Acid less its blank stands for metal dissolved; it reads low where product "
    "precipitates or carbon dioxide is taken up, high where bicarbonate loses it.",
)


def exposure_sentences(logs: Sequence[RateRecord]) -> list[str]:
    """For the summary: verdicts, and what they rest on; of many logs how many have which."""
    out = []
    done = [r for r in logs if r.done]
    if len(done) > _MOST_SENTENCES:
        verdicts = Counter(r.text("verdict").replace("exposure ", "") for r in done)
        said = ", ".join(f"{n} {word}" for word, n in sorted(verdicts.items()))
        return [f"{count(len(logs), 'rig log')}: {said}, {len(logs) - len(done)} without a result."]
    for record in logs:
        if not record.done:
            continue
        names = record.specimen_names
        share = record.figure("in_range_fraction")
        judged = f"{significant(100 * share)}\u00a0% of it in range" if math.isfinite(share) else "not judged"
        verdict = record.text("verdict").replace("exposure ", "")
        text = f"Exposure of {names} ({record.entry_id}) is {verdict}: "
        text += f"{record.figure('immersed_h'):.4g}\u00a0h immersed, {judged}"
        reasons = len(record.value("verdict_reasons") or ())
        out.append(text + (f"; {count(reasons, 'reason')} below." if reasons else "."))
    missing = sum(not r.done for r in logs)
    return [*out, f"{count(missing, 'rig log')} without a result."] if missing else out


def exposure_caption(record: RateRecord) -> str:
    """What a log holds and what became of it."""
    out = []
    start, stop = record.text("start"), record.text("stop")
    if start and stop:
        out.append(f"From {start.replace('T', ' ')} to {stop.replace('T', ' ')}.")
    step = record.figure("sampling_interval_s")
    text = f"{record.figure('readings'):.0f} readings"
    out.append(f"{text}, one each {significant(step)}\u00a0s." if math.isfinite(step) else f"{text}.")
    where = "hydraulic_resistance"
    rise = record.figure(where, "rise_fraction")
    if math.isfinite(rise):
        number = round_to_interval(rise, *record.interval(where, "rise_fraction"), scale=100.0)
        out.append(f"Hydraulic resistance rose by {number}\u00a0%{_clogging(record)}.")
    return " ".join(out)


def acid_caption(record: RateRecord) -> str:
    """What the acid says, or why it says nothing."""
    where = "acid_balance"
    acid, blank = record.figure(where, "acid_mL"), record.figure(where, "blank_mL")
    text = f"{significant(acid, 4)}\u00a0mL dosed"
    text += f", {significant(blank)}\u00a0mL of it blank." if blank > 0 else "; no blank subtracted."
    metal = record.figure(where, "metal_mg")
    if math.isfinite(metal):
        text += f" This stands for {significant(metal)}\u00a0mg of metal."
    refused = record.text(where, "refused")
    if refused:
        return f"{text} No rate: {refused}"
    number = round_to_interval(
        record.figure(where, "rate", "rate_mm_per_y"), *record.interval(where, "rate", "rate_mm_per_y")
    )
    text += f" Over the whole exposure: {number.value}\u00a0mm/y"
    text += f" ({number.interval})." if number.has_interval else "."
    bias = record.text(where, "rate", "bias")
    reasons = record.value(where, "rate", "reasons") or ()
    return text + (f" {bias[0].upper()}{bias[1:]}: {'; '.join(reasons)}." if bias else "")


def _clogging(record: RateRecord) -> str:
    told = record.value("hydraulic_resistance", "is_clogging")
    return {True: ": a sign of clogging", False: ": no sign of clogging by the stated rule"}.get(told, "")
