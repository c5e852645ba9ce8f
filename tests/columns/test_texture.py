"""Areal texture parameters: the symbols of the standard, each with a unit and a definition."""

from surfscan.columns import TEXTURE_PARAMETERS


def test_symbols_are_those_of_the_standard_with_their_units():
    names = [c.name for c in TEXTURE_PARAMETERS]
    assert names[:5] == ["Sa_um", "Sq_um", "Sz_um", "Ssk", "Sku"]
    assert len(names) == len(set(names)) == 21
    assert all((c.unit == "µm") == c.name.endswith("_um") for c in TEXTURE_PARAMETERS)
    assert all(c.definition.endswith(".") for c in TEXTURE_PARAMETERS)
