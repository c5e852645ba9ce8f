"""Sentences of the page about rates and materials."""

from __future__ import annotations

import math
from collections.abc import Sequence

from surfscan.report.pooling import count
from surfscan.report.rate_records import RateRecord
from surfscan.report.rates import ACID, GAS, MASS_LOSS, METHODS, RESISTANCE, SWEEP, GroupRates, Rate
from surfscan.report.rounding import round_to_interval

NAMES = {
    MASS_LOSS: "mass loss",
    GAS: "collected hydrogen",
    ACID: "acid dosed",
    SWEEP: "sweeps",
    RESISTANCE: "polarization resistance",
}
"""Method -> how sentences call what it goes by."""

BLENDED = (
    "Every rate stands on its own feet: none is averaged with one by another method, and none is corrected "
    "towards another."
)

NOT_MEASURED = (
    "Where metal was lost: a rate is the mean over the wetted surface. Pits, crevices and thin places may go "
    "many times faster.",
)

METHOD_ALL = (
    "Rates in mm/y use years of 365.25 d. Wetted surface is stated or computed from dimensions (tops, sides "
    "and ends, less masking); its uncertainty is in every interval where it is stated.",
    "Immersed hours enter rates, also those out of range: metal corrodes out of range too.",
    "Groups of rates: mean over specimens, method by method, with t-interval; a specimen with several rates "
    "of one method counts once, by their mean. Acid of a vessel that several specimens share is no value of "
    "a specimen and enters no mean. What all specimens share (density, valences, the electrode) is in no "
    "interval between them.",
)
METHOD_OF = {
    MASS_LOSS: "Mass loss: the line through the last of several equal cleaning cycles, followed back to zero "
    "cycles (ASTM G1), or less a blank of the same metal.",
    GAS: "Gas: hydrogen by the gas law, less water vapour and blank; one molecule for two electrons.",
    ACID: "Acid: 2 H+ for each atom of a metal of valence 2, less the blank dosing of the bath.",
    SWEEP: "Sweeps: Faraday's law (ASTM G102) with the equivalent weight of the material, for the moment of "
    "the sweep and for the electrode in the cell.",
}


def rate_sentences(rates: Sequence[Rate], groups: Sequence[GroupRates]) -> list[str]:
    """For the summary: of every method its highest and lowest group mean.

    Polarization resistance is said only of groups whose sweeps give no rate by their branches.
    """
    out = []
    by_branches = {g.group for g in groups if g.method == SWEEP and g.means["rate_mm_per_y"].n}
    for method in METHODS:
        own = [g for g in groups if g.method == method and g.means["rate_mm_per_y"].n]
        own.sort(key=lambda g: g.means["rate_mm_per_y"].value)
        if method == RESISTANCE:
            own = [g for g in own if g.group not in by_branches]
        elif not own:
            shared = [r for r in rates if r.method == method and math.isfinite(r.mm_per_y)]
            out += [f"By {NAMES[method]}, {r.record.specimen_names}: {_rate(r)}." for r in shared[:2]]
        if not own:
            continue
        highest = "highest in " if len(own) > 1 else ""
        where = " where branches give none" if method == RESISTANCE and by_branches else ""
        text = f"By {NAMES[method]}{where}, {highest}“{own[-1].group}”: {_mean(own[-1])}"
        if len(own) > 1:
            text += f"; lowest in “{own[0].group}”: {_mean(own[0])}"
        text += f"; {own[-1].bias}" if own[-1].bias else ""
        out.append(text + ".")
    refused = sum(bool(r.refused) for r in rates)
    if refused:
        out.append(f"{refused} of {count(len(rates), 'rate')} refused, each with its reason in the table.")
    return out


def methods_of(rates: Sequence[Rate]) -> list[str]:
    """Lines on how the methods that the study uses work."""
    used = {SWEEP if r.method == RESISTANCE else r.method for r in rates}
    return [*METHOD_ALL, *(line for method, line in METHOD_OF.items() if method in used)]


def cautions_of(records: Sequence[RateRecord]) -> list[str]:
    """Cautions that go with the cleaning solutions of the metals weighed, each once."""
    said = (text for r in records for text in r.value("cleaning_cautions") or ())
    return list(dict.fromkeys(said))


def speaks_for(rate: Rate) -> tuple[str, str]:
    """What time a rate speaks for, and what else to know of that."""
    if not rate.is_instant:
        if math.isnan(rate.ends_h):
            return "average", ""
        hours = f"average, {rate.starts_h:.4g} to {rate.ends_h:.4g}\u00a0h"
        return hours, rate.record.text("hours_from")
    exposed = rate.record.exposure_h
    after = "" if math.isnan(exposed) else f"electrode exposed for {exposed:g}\u00a0h"
    twin = f"twin of {rate.record.twin_of}" if rate.record.twin_of else ""
    return "moment of the sweep", "; ".join(filter(None, (twin, after)))


def _rate(rate: Rate) -> str:
    number = round_to_interval(rate.mm_per_y, *rate.mm_per_y_ci95)
    sure = f" (95 % interval {number.interval})" if number.has_interval else ""
    return f"{number.value}\u00a0mm/y{sure}" + (f"; {rate.bias}" if rate.bias else "")


def _mean(group: GroupRates) -> str:
    mean = group.means["rate_mm_per_y"]
    own = [r for r in group.rates if r.enters_means and math.isfinite(r.mm_per_y)]
    if mean.n == 1 and len(own) == 1:
        number = round_to_interval(mean.value, *own[0].mm_per_y_ci95)
        sure = f"95 % interval {number.interval}, " if number.has_interval else ""
        return f"{number.value}\u00a0mm/y ({sure}1 specimen)"
    number = round_to_interval(mean.value, *(mean.ci95 or (math.nan, math.nan)))
    sure = f"95 % interval {number.interval}, " if number.has_interval else "no interval, "
    return f"{number.value}\u00a0mm/y ({sure}{count(mean.n, 'specimen')})"
