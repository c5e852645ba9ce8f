"""Reasons for a gap are named where they apply, and in the direction that they explain."""

from __future__ import annotations

import pytest

from surfscan.comparison.rates import Bound, Joined, Kind, Measurand, Method, PenetrationRate, refused
from surfscan.comparison.reasons import (
    _TABLE,
    LOCAL,
    ONE_SWEEP,
    OTHER_PARTS,
    PITS_ALONE,
    TIME,
    measured_on,
    reasons_for,
)
from surfscan.immersion.acid import HIGH_BICARBONATE, LOW_CARBON_DIOXIDE, LOW_PRECIPITATE


def _rate(
    method: Method,
    value: float,
    *,
    kind: Kind = "average",
    measurand: Measurand = "mean",
    bound: Bound = "",
    reasons: tuple[str, ...] = (),
    specimens: tuple[str, ...] = (),
) -> PenetrationRate:
    joined: Joined = "twin" if specimens else "own"
    return PenetrationRate(
        "s",
        method,
        measurand,
        value,
        None,
        kind,
        bound,
        reasons=reasons,
        joined=joined,
        from_specimens=specimens,
    )


def _texts(first: PenetrationRate, second: PenetrationRate, metal: str = "") -> str:
    return " | ".join(reason.text for reason in reasons_for(first, second, metal))


def test_every_reason_is_a_sentence_with_a_source() -> None:
    for reason in [entry.reason for entry in _TABLE] + [TIME, OTHER_PARTS, ONE_SWEEP, LOCAL, PITS_ALONE]:
        assert reason.text[0].isupper() and reason.text.endswith(".") and len(reason.source) > 15


def test_sweeps_of_magnesium_read_low() -> None:
    low, high = _rate("sweep", 0.1, kind="instant"), _rate("mass loss", 0.5)
    assert "magnesium commonly read low" in _texts(low, high, "Mg")
    assert "magnesium commonly read low" in _texts(high, low, "Mg")
    assert "magnesium" not in _texts(low, high, "Zn")
    assert "commonly read low" not in _texts(_rate("sweep", 0.9, kind="instant"), high, "Mg")


def test_acid_by_what_is_known_of_the_bath() -> None:
    mass = _rate("mass loss", 0.5)
    low = _rate("acid", 0.3, reasons=(LOW_PRECIPITATE, HIGH_BICARBONATE))
    assert "Acid reads low: hydroxide" in _texts(low, mass) and "reads high" not in _texts(low, mass)
    high = _rate("acid", 0.8, reasons=(LOW_PRECIPITATE, HIGH_BICARBONATE))
    assert "Acid reads high: bicarbonate" in _texts(high, mass) and "reads low" not in _texts(high, mass)
    assert "Acid reads" not in _texts(_rate("acid", 0.3), mass)
    assert "carbon dioxide taken up" in _texts(_rate("acid", 0.3, reasons=(LOW_CARBON_DIOXIDE,)), mass)


def test_gas_reads_low_and_never_explains_a_high_one() -> None:
    assert "Bubbles" in _texts(_rate("gas", 0.3), _rate("mass loss", 0.5))
    assert "Bubbles" not in _texts(_rate("gas", 0.6), _rate("mass loss", 0.5))


def test_edges_see_the_worst_places() -> None:
    assert "often the worst" in _texts(_rate("section", 0.9), _rate("mass loss", 0.5))
    assert "often the worst" not in _texts(_rate("section", 0.3), _rate("mass loss", 0.5))


def test_reasons_that_hold_whichever_is_higher() -> None:
    mass = _rate("mass loss", 0.5)
    assert TIME in reasons_for(mass, _rate("sweep", 0.9, kind="instant"))
    assert OTHER_PARTS in reasons_for(mass, _rate("section", 0.9, specimens=("t",)))
    assert LOCAL in reasons_for(mass, _rate("section", 0.9, measurand="worst place"))
    assert PITS_ALONE in reasons_for(mass, _rate("pit volume", 0.1, bound="at least"))
    both = _rate("sweep", 0.9, kind="instant"), _rate("polarization resistance", 0.8, kind="instant")
    assert reasons_for(*both) == (ONE_SWEEP,)


def test_measured_on() -> None:
    assert measured_on(_rate("gas", 1.0)) == {"s"}
    assert measured_on(_rate("gas", 1.0, specimens=("a", "b"))) == {"a", "b"}


def test_refused_rates_have_no_gap() -> None:
    with pytest.raises(ValueError, match="refused"):
        reasons_for(_rate("gas", 1.0), refused("s", "acid", "no acid"))
