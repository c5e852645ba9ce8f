"""Atomic weights and what is asked of an unknown symbol."""

from itertools import pairwise

import pytest

from surfscan.materials.elements import ATOMIC_WEIGHTS, FARADAY_C_PER_MOL, atomic_weight


def test_weights_rise_with_the_atomic_number_where_they_do():
    """Listed in the order of the periodic table; only Co and Ni, of those listed, stand the other way."""
    weights = list(ATOMIC_WEIGHTS.items())
    falls = [(a, b) for (a, wa), (b, wb) in pairwise(weights) if wb <= wa]
    assert falls == [("Co", "Ni")]


def test_weight_by_symbol():
    assert atomic_weight("Mg") == 24.305
    assert pytest.approx(96485.332) == FARADAY_C_PER_MOL


def test_unknown_symbol_is_named():
    with pytest.raises(ValueError, match="'mg' is not the symbol"):
        atomic_weight("mg")
