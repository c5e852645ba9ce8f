"""Rates of a study, each on its own feet, and their means over the specimens of a group, method by method."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from surfscan.electrochemistry.methods import FIT, TAFEL
from surfscan.electrochemistry.rates import rate_of_current
from surfscan.errors import InputError
from surfscan.estimates.groups import GroupEstimate, specimen_mean
from surfscan.materials.material import Material, Value
from surfscan.report.rate_records import RateRecord, number, pair

Interval = tuple[float, float]

MASS_LOSS, GAS, ACID, SWEEP, RESISTANCE = "mass loss", "gas", "acid", "sweep", "polarization resistance"
METHODS = (MASS_LOSS, GAS, ACID, SWEEP, RESISTANCE)
"""In the order of the page; figures of different methods are never pooled."""

INSTANTS = (SWEEP, RESISTANCE)
"""Methods that speak of the moment of a sweep; the others of an average over immersion."""

UNITS = {"rate_mm_per_y": "mm/y", "rate_g_per_m2_d": "g/(m²\u00a0d)"}

_NONE: Interval = (math.nan, math.nan)


@dataclass(frozen=True)
class Rate:
    """One rate by one method.

    Attributes
    ----------
    record : RateRecord
        The entry it comes from.
    method : str
        One of `METHODS`.
    how : str
        How the method was applied.
    starts_h, ends_h : float
        Stretch it is the average of, since immersion; not-a-number for an instant.
    mm_per_y, g_per_m2_d : float
        Not-a-number where refused, or the density is not known.
    mm_per_y_ci95, g_per_m2_d_ci95 : (float, float)
    valence_range_mm_per_y : (float, float)
        Over the choices of valences, where there are several.
    bias : str
        "reads low", "reads high" or empty.
    reasons : tuple of str
        Why it does.
    refused : str
        Why there is no rate; empty where there is one.
    """

    record: RateRecord
    method: str
    how: str = ""
    starts_h: float = math.nan
    ends_h: float = math.nan
    mm_per_y: float = math.nan
    mm_per_y_ci95: Interval = _NONE
    g_per_m2_d: float = math.nan
    g_per_m2_d_ci95: Interval = _NONE
    valence_range_mm_per_y: Interval = _NONE
    bias: str = ""
    reasons: tuple[str, ...] = ()
    refused: str = ""

    @property
    def is_instant(self) -> bool:
        """Whether it speaks of the moment of a sweep."""
        return self.method in INSTANTS

    @property
    def enters_means(self) -> bool:
        """Whether it is a value of one specimen; a vessel shared by several is none."""
        return not self.refused and len(self.record.specimens) == 1

    def figure(self, name: str) -> float:
        """`rate_mm_per_y` or `rate_g_per_m2_d`."""
        return self.mm_per_y if name == "rate_mm_per_y" else self.g_per_m2_d

    def interval(self, name: str) -> Interval:
        """Its 95 % interval."""
        return self.mm_per_y_ci95 if name == "rate_mm_per_y" else self.g_per_m2_d_ci95


@dataclass(frozen=True)
class GroupRates:
    """Rates of one method in one group.

    Attributes
    ----------
    group, method : str
    rates : tuple of Rate
        All of them, refused ones too.
    values : mapping of str to ndarray
        Rate (`rate_mm_per_y`, `rate_g_per_m2_d`) -> one value a specimen; that of a specimen with several is
        their mean.
    means : mapping of str to GroupEstimate
        Of these values.
    starts_h, ends_h : float
        Stretch that all have in common; else not-a-number.
    """

    group: str
    method: str
    rates: tuple[Rate, ...]
    values: Mapping[str, np.ndarray]
    means: Mapping[str, GroupEstimate]
    starts_h: float
    ends_h: float

    @property
    def bias(self) -> str:
        """Known error of the rates; several are separated by commas."""
        return ", ".join(dict.fromkeys(r.bias for r in self.rates if r.bias and r.enters_means))

    @property
    def refused_count(self) -> int:
        """Rates that were refused."""
        return sum(bool(r.refused) for r in self.rates)


def rates_of(records: Iterable[RateRecord]) -> list[Rate]:
    """Every rate that entries of a study give, or were to give; in the order of `METHODS`."""
    found: list[Rate] = []
    for record in records:
        if record.procedure == "sweep":
            found += _of_sweep(record)
        elif record.procedure == "exposure":
            found += _of_log(record)
        else:
            found.append(_of_bath(record))
    return sorted(found, key=lambda r: METHODS.index(r.method))


def group_rates(groups: Iterable[str], rates: Sequence[Rate]) -> list[GroupRates]:
    """Means over specimens, one for each group and method that has a rate or a refusal."""
    out = []
    for group in groups:
        for method in METHODS:
            own = tuple(r for r in rates if r.record.group == group and r.method == method)
            counted = [r for r in own if r.enters_means]
            if not own or not (counted or any(len(r.record.specimens) == 1 for r in own)):
                continue
            values = {name: _by_specimen(counted, name) for name in UNITS}
            lowest = 0.0 if method in INSTANTS else -math.inf
            means = {name: specimen_mean(v, lowest=lowest) for name, v in values.items()}
            stretches = {(r.starts_h, r.ends_h) for r in counted if not r.is_instant}
            common = stretches.pop() if len(stretches) == 1 else _NONE
            out.append(GroupRates(group, method, own, values, means, *common))
    return out


def over_time(records: Iterable[RateRecord]) -> list[tuple[RateRecord, str, dict[str, np.ndarray]]]:
    """Rates from reading to reading: (record, "gas" or "acid", their rows of the stored table)."""
    out = []
    for record in records:
        if record.procedure == "gas":
            table = record.table("immersion_rates")
            out.append((record, GAS, {name: column[1:] for name, column in table.items()}))
        elif record.procedure == "exposure":
            out.append((record, ACID, record.table("acid_over_time")))
    return out


def _by_specimen(rates: Sequence[Rate], name: str) -> np.ndarray:
    values: dict[str, list[float]] = {}
    for rate in rates:
        if not math.isnan(rate.figure(name)):
            values.setdefault(rate.record.specimens[0].id, []).append(rate.figure(name))
    return np.array([math.fsum(v) / len(v) for v in values.values()])


def _of_bath(record: RateRecord) -> Rate:
    """Rate of a weighing or of collected gas."""
    method = MASS_LOSS if record.procedure == "mass_loss" else GAS
    if record.done is None:
        return Rate(record, method, refused=record.message)
    how = record.text("how") if method == MASS_LOSS else "hydrogen collected"
    return _of_estimate(record, method, how, record.summary)


def _of_log(record: RateRecord) -> list[Rate]:
    """Rate of the acid dosed; none where the log has no acid."""
    if "acid" not in record.table("channels")["channel"].tolist():
        return []
    balance = record.value("acid_balance")
    how = "acid dosed to hold the pH, over all specimens of the vessel together"
    if len(record.specimens) == 1:
        how = "acid dosed to hold the pH"
    if balance["rate"] is None:
        return [Rate(record, ACID, how, 0.0, record.figure("immersed_h"), refused=balance["refused"])]
    return [_of_estimate(record, ACID, how, balance["rate"])]


def _of_estimate(record: RateRecord, method: str, how: str, estimate: Mapping[str, Any]) -> Rate:
    return Rate(
        record,
        method,
        how,
        number(estimate["starts_h"]),
        number(estimate["ends_h"]),
        number(estimate["rate_mm_per_y"]),
        pair(estimate["rate_mm_per_y_ci95"]),
        number(estimate["rate_g_per_m2_d"]),
        pair(estimate["rate_g_per_m2_d_ci95"]),
        _NONE,
        estimate["bias"],
        tuple(estimate["reasons"]),
        estimate["refused"],
    )


def _of_sweep(record: RateRecord) -> list[Rate]:
    """Rates of a sweep: by its branches, and by its polarization resistance."""
    if record.done is None:
        return [Rate(record, SWEEP, refused=record.message)]
    method = record.text("method")
    if method in (FIT, TAFEL):
        branches = Rate(
            record,
            SWEEP,
            method,
            math.nan,
            math.nan,
            record.figure("rate_mm_per_y"),
            record.interval("rate_mm_per_y"),
            record.figure("rate_g_per_m2_d"),
            record.interval("rate_g_per_m2_d"),
            pair(record.value("rate_mm_per_y_valence_range")),
            refused="" if record.value("rate_g_per_m2_d") is not None else _why_no_rate(record),
        )
    else:
        branches = Rate(record, SWEEP, refused=why_no_branches(record))
    return [branches, _of_resistance(record)]


def why_no_branches(record: RateRecord) -> str:
    """Why neither fit nor Tafel extrapolation gives a corrosion current."""
    reasons = {FIT: record.text("fit_refused"), TAFEL: record.text("tafel_refused")}
    if len(set(reasons.values())) == 1:
        return next(iter(reasons.values()))
    return "; ".join(f"{name}: {why}" for name, why in reasons.items() if why)


def _of_resistance(record: RateRecord) -> Rate:
    """The corrosion current of the polarization resistance as a rate, by the material as it was used."""
    how = record.text("stern_geary_note")
    refused = record.text("stern_geary_refused")
    if refused:
        return Rate(record, RESISTANCE, how, refused=refused)
    current = record.figure("stern_geary_icorr_uA_per_cm2")
    limits = record.interval("stern_geary_icorr_uA_per_cm2")
    stored = record.value("material")
    if math.isnan(current) or math.isnan(limits[0]) or stored is None:
        return Rate(record, RESISTANCE, how, refused=_why_no_rate(record))
    try:
        rate = rate_of_current(current, limits, _material(stored))
    except InputError as fault:
        return Rate(record, RESISTANCE, how, refused=str(fault))
    weights = [number(each["computed"]["value"]) for each in stored["equivalent_weights"]]
    used, mm = number(stored["equivalent_weight"]["value"]), number(rate.rate_mm_per_y)
    ranged = len(weights) > 1
    return Rate(
        record,
        RESISTANCE,
        how,
        math.nan,
        math.nan,
        mm,
        pair(rate.rate_mm_per_y_ci95),
        rate.rate_g_per_m2_d,
        rate.rate_g_per_m2_d_ci95,
        (mm * min(weights) / used, mm * max(weights) / used) if ranged else _NONE,
    )


def _why_no_rate(record: RateRecord) -> str:
    if record.value("material") is None:
        return "no material is stated of the specimen"
    if record.value("area_cm2") is None and math.isnan(record.figure("icorr_uA_per_cm2")):
        return "the wetted area is not stated, so that there is no current density"
    return "the equivalent weight of the material is not known"


def _material(stored: Mapping[str, Any]) -> Material:
    """The density and equivalent weight that a stored result rests on."""
    return Material(
        stored["name"],
        density_g_per_cm3=_value(stored["density_g_per_cm3"]),
        stated_equivalent_weight=_value(stored["equivalent_weight"]),
    )


def _value(stored: Mapping[str, Any] | None) -> Value | None:
    if stored is None:
        return None
    low, high = stored.get("range") or (None, None)
    return Value(stored["value"], stored["unit"], stored["source"], stored["status"], low, high)
