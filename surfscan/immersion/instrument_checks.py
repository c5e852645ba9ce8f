"""Checks of reference electrode, pH probe and balance before and after an exposure."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

from surfscan.electrochemistry.references import (
    ELECTRODES,
    SHE,
    TABLE_TEMPERATURE_DEGC,
    find_electrode,
    temperature_allowance_V,
)
from surfscan.immersion.exposure_settings import ExposureSettings

Instrument = Literal["reference electrode", "pH probe", "balance"]
Severity = Literal["", "reservation", "not valid"]

PH_PER_K = 0.003
"""What a pH probe may shift by for each kelvin between check and use, beside its slope (common practice, no
source)."""

_UNITS = {"reference electrode": "mV", "pH probe": "", "balance": "mg"}
_NEAR_K = 2.0


@dataclass(frozen=True)
class InstrumentCheck:
    """What an instrument read against something known, before and after.

    Attributes
    ----------
    instrument : {"reference electrode", "pH probe", "balance"}
    known_before, read_before, known_after, read_after : float
        mV against the second electrode, pH of the buffer, or mg of the weight.
    temperature_before_degC, temperature_after_degC : float or None
        Of the instrument in the check.
    used_at_degC : float or None
        Temperature in use.
    electrode : str
        Kind of reference electrode, such as "Ag/AgCl 3 M KCl"; empty for the others.
    name : str
        Which one, where there are several.
    """

    instrument: Instrument
    known_before: float
    read_before: float
    known_after: float
    read_after: float
    temperature_before_degC: float | None = None
    temperature_after_degC: float | None = None
    used_at_degC: float | None = None
    electrode: str = ""
    name: str = ""

    def __post_init__(self) -> None:
        if self.instrument not in _UNITS:
            raise ValueError(f"instrument must be one of {', '.join(_UNITS)}, got {self.instrument!r}")
        for field in ("known_before", "read_before", "known_after", "read_after"):
            if not math.isfinite(getattr(self, field)):
                raise ValueError(f"{field} must be a number, got {getattr(self, field)!r}")


@dataclass(frozen=True)
class CheckOutcome:
    """What the checks of one instrument say.

    Attributes
    ----------
    instrument, name : str
    unit : str
        "mV", "" (pH) or "mg".
    error_before, error_after : float
        Read less known.
    drift : float
        Second less first.
    offset : float
        Mean of the two: what readings between the checks are too high by, as far as is known.
    standard_uncertainty : float
        Of a reading less the offset: any error between the two alike, and the allowance for temperature.
    temperature_allowance : float
        Half-width allowed for use at another temperature than that of the check or the table.
    severity : {"", "reservation", "not valid"}
    reason : str
        Why; empty where there is none.
    warnings : tuple of str
    """

    instrument: str
    name: str
    unit: str
    error_before: float
    error_after: float
    drift: float
    offset: float
    standard_uncertainty: float
    temperature_allowance: float
    severity: Severity
    reason: str
    warnings: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Ready for JSON, in the order of the attributes."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


def judge_check(check: InstrumentCheck, settings: ExposureSettings) -> CheckOutcome:
    """Drift, offset and uncertainty of an instrument, and what they mean for the verdict.

    A drift beyond the stated limit is a reservation, beyond the stated factor of it the exposure is not
    valid. A balance is never more than a reservation: its drift enters the mass loss as uncertainty.

    Parameters
    ----------
    check : InstrumentCheck
    settings : ExposureSettings

    Returns
    -------
    CheckOutcome

    Raises
    ------
    InputError
        If the kind of electrode is not known.
    """
    before, after = check.read_before - check.known_before, check.read_after - check.known_after
    drift = after - before
    allowance, warnings = _allowance(check)
    limit = {
        "reference electrode": settings.reference_drift_mV,
        "pH probe": settings.pH_probe_drift,
        "balance": settings.balance_drift_mg,
    }[check.instrument]
    unit = _UNITS[check.instrument]
    severity: Severity = ""
    reason = ""
    if abs(drift) > limit * (1 + 1e-9):
        is_fatal = abs(drift) > limit * settings.fatal_drift_factor and check.instrument != "balance"
        severity = "not valid" if is_fatal else "reservation"
        title = f"{check.instrument} {check.name}".strip()
        bound = limit * settings.fatal_drift_factor if is_fatal else limit
        reason = (
            f"The {title} drifted by {drift:+.3g}{_spaced(unit)} between its checks (limit {bound:g}"
            f"{_spaced(unit)})."
        )
    return CheckOutcome(
        check.instrument,
        check.name,
        unit,
        before,
        after,
        drift,
        0.5 * (before + after),
        math.hypot(drift / math.sqrt(12), allowance / math.sqrt(3)),
        allowance,
        severity,
        reason,
        warnings,
    )


def _spaced(unit: str) -> str:
    return f" {unit}" if unit else ""


def _allowance(check: InstrumentCheck) -> tuple[float, tuple[str, ...]]:
    """Half-width for temperature, in the unit of the instrument, and what to say about it."""
    checked = [
        each for each in (check.temperature_before_degC, check.temperature_after_degC) if each is not None
    ]
    apart = (
        max((abs(each - check.used_at_degC) for each in checked), default=0.0)
        if (check.used_at_degC is not None)
        else 0.0
    )
    if check.instrument == "reference electrode":
        return _electrode_allowance(check)
    if check.instrument == "pH probe":
        if check.used_at_degC is None or not checked:
            return 0.0, (
                "The temperatures of check and use of the pH probe are not stated: none is allowed for.",
            )
        if apart <= _NEAR_K:
            return 0.0, ()
        far = max(abs(check.known_before - 7), abs(check.known_after - 7))
        allowance = apart * (far / 298.15 + PH_PER_K)
        return allowance, (
            f"The pH probe was checked {apart:.3g} K from where it was used: up to {allowance:.2g} are "
            "allowed for. Check it at the temperature of the bath to do better.",
        )
    if len(checked) == 2 and abs(checked[0] - checked[1]) > _NEAR_K:
        return 0.0, (
            f"The balance was checked at {checked[0]:g} °C and {checked[1]:g} °C: let it come to one "
            "temperature, since buoyancy and its springs shift with it.",
        )
    return 0.0, ()


def _electrode_allowance(check: InstrumentCheck) -> tuple[float, tuple[str, ...]]:
    if not check.electrode or check.used_at_degC is None:
        return 0.0, (
            "Kind or temperature of the reference electrode is not stated: no allowance is made for its "
            "potential away from 25 °C.",
        )
    electrode = find_electrode(check.electrode)
    allowance = 1e3 * temperature_allowance_V(electrode, ELECTRODES[SHE], check.used_at_degC)
    if abs(check.used_at_degC - TABLE_TEMPERATURE_DEGC) <= 1:
        return allowance, ()
    return allowance, (
        f"{electrode.name} at {check.used_at_degC:g} °C: its potential is that of 25 °C, and up to "
        f"{allowance:.2g} mV are allowed for.",
    )
