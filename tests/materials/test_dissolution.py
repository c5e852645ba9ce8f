"""What dissolving metals give and take."""

import pytest

from surfscan.materials.catalogue import find_material
from surfscan.materials.dissolution import DISSOLUTION, acid_weights, dissolution_of


def test_by_base_element():
    assert dissolution_of(find_material("WE43")) is DISSOLUTION["Mg"]
    assert dissolution_of(find_material("316")) is DISSOLUTION["Fe"]
    assert dissolution_of(find_material("Ti")) is None
    assert dissolution_of(find_material("F562")) is None  # 35 Co, 35 Ni: no base element


def test_refusals_have_reasons():
    for each in DISSOLUTION.values():
        assert bool(each.hydrogen_reason) != each.gives_hydrogen
        assert bool(each.acid_reason) != each.takes_acid


def test_acid_weights():
    """Half the atomic weight for a pure metal; more metal for one acid where alloying elements bind none."""
    assert acid_weights(find_material("Zn")) == pytest.approx((32.69, 32.69))
    by_valence, by_base = acid_weights(find_material("AZ31"))
    assert by_base == pytest.approx(12.1525 / 0.96)
    assert by_valence == pytest.approx(12.101, abs=1e-3)
    with pytest.raises(ValueError, match="more than half"):
        acid_weights(find_material("F562"))
