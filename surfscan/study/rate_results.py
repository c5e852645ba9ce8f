"""Rates from the bath as results like any other: summary, tables, warnings and all that made them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from pydantic import BaseModel

from surfscan.images import Source
from surfscan.immersion.estimates import RateEstimate, rates_table
from surfscan.procedures.result import Result
from surfscan.study.conditions import Conditions


def rate_result(
    procedure: str,
    source: Source,
    settings: BaseModel,
    conditions: Conditions,
    estimates: Sequence[RateEstimate],
    details: Mapping[str, Any],
    warnings: Sequence[str] = (),
) -> Result:
    """One rate, its parts over time and what it rests on.

    Parameters
    ----------
    procedure : str
        "mass_loss" or "gas".
    source : Source
    settings : BaseModel
        As used.
    conditions : Conditions
    estimates : sequence of RateEstimate
        The rate over the whole time, then those between successive readings.
    details : mapping
        Further entries of the summary.
    warnings : sequence of str, optional

    Returns
    -------
    Result
        Its table "immersion_rates" has one row for each estimate. Numbers that are none become None.
    """
    whole = estimates[0]
    summary = {k: v for k, v in whole.as_dict().items() if k != "warnings"} | told(conditions) | dict(details)
    return Result(
        procedure=procedure,
        source=source,
        calibration=None,
        settings=settings.model_dump(mode="json"),
        summary=plain(summary),
        tables={"immersion_rates": rates_table(estimates)},
        warnings=tuple(dict.fromkeys((*conditions.warnings, *whole.warnings, *warnings))),
    )


def told(conditions: Conditions) -> dict[str, Any]:
    """What a summary says of the specimens behind a rate."""
    return {
        "specimens": list(conditions.specimens),
        "area_cm2": conditions.area_cm2,
        "area_relative_uncertainty": conditions.area_relative_uncertainty,
        "area_from": conditions.area_from,
        "material": None if conditions.material is None else conditions.material.as_dict(),
    }


def plain(value: Any) -> Any:
    """Python's own types only; not-a-number and infinity become None."""
    if isinstance(value, Mapping):
        return {str(key): plain(each) for key, each in value.items()}
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
