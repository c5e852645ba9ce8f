"""Materials behind the rates: every value with its source and status."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from surfscan.report.rate_records import RateRecord, number, pair


def materials_used(records: Iterable[RateRecord]) -> dict[str, tuple[Mapping[str, Any], list[str]]]:
    """Material as results have it -> (all that is known of it, specimens of it).

    Two results that rest on different values of one name both stand, the second marked by a number.
    """
    found: dict[str, tuple[Mapping[str, Any], list[str]]] = {}
    for record in records:
        stored = record.value("material")
        if not isinstance(stored, Mapping):
            continue
        name, k = stored["name"], 1
        while name in found and found[name][0] != stored:
            k += 1
            name = f"{stored['name']} ({k})"
        specimens = found.setdefault(name, (stored, []))[1]
        specimens += [s.id for s in record.specimens if s.id not in specimens]
    return found


def material_rows(records: Sequence[RateRecord]) -> list[dict[str, Any]]:
    """Rows of the table of materials."""
    rows = []
    for name, (stored, specimens) in materials_used(records).items():
        for what, value, enters in _values(stored):
            low, high = pair(value.get("range"))
            rows.append(
                {
                    "material": name,
                    "value_of": what,
                    "value": number(value["value"]),
                    "unit": value["unit"],
                    "low": low,
                    "high": high,
                    "source": value["source"],
                    "value_status": value["status"],
                    "enters_rates": enters,
                    "note": value.get("note", ""),
                    "specimens": ", ".join(specimens),
                }
            )
    return rows


def _values(stored: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any], bool]]:
    """(what it is of, the value, whether rates rest on it)."""
    if stored["density_g_per_cm3"]:
        yield "density", stored["density_g_per_cm3"], True
    for other in stored["other_densities"]:
        yield "density, another source", other, False
    used = stored["equivalent_weight"]
    if used:
        yield "equivalent weight", used, True
    rests_on_composition = bool(used) and used["status"] == "computed"
    for k, each in enumerate(stored["equivalent_weights"]):
        valences = " ".join(f"{e}{n}" for e, n in each["valences"].items())
        if k or not rests_on_composition:
            yield f"equivalent weight with {valences}", each["computed"], False
        if each["printed"]:
            away = number(each["difference_percent"])
            note = (
                "" if math.isnan(away) else f"the computed one lies {away:+.2g} % from it".replace("-", "−")
            )
            yield f"equivalent weight with {valences}, as printed", {**each["printed"], "note": note}, False
    for k, each in enumerate(stored["equivalent_weights"]):
        for element, valence in each["valences"].items() if k == 0 else ():
            value = {
                "value": valence,
                "unit": "1",
                "source": each["valences_source"],
                "status": each["valences_status"],
            }
            yield f"valence of {element}", value, rests_on_composition
    for element, value in stored["composition"].items():
        yield f"mass fraction of {element}", value, rests_on_composition
