"""Cleaning solutions come with their cautions."""

from surfscan.immersion.cleaning import ALWAYS, SOLUTIONS, cautions, cleaning_solutions
from surfscan.materials.catalogue import find_material


def test_chromium_is_never_without_its_caution():
    for each in SOLUTIONS:
        holds = "CrO3" in each.recipe
        assert each.has_chromium_vi == holds
        assert any("Hexavalent chromium causes cancer" in caution for caution in each.cautions) == holds
        assert any("Silver" in caution for caution in each.cautions) == ("Ag" in each.recipe)
        assert any("barium" in caution for caution in each.cautions) == ("Ba(" in each.recipe)
        assert any("Hydrochloric" in caution for caution in each.cautions) == ("HCl" in each.recipe)


def test_milder_first():
    assert [each.name for each in cleaning_solutions(find_material("Zn"))] == ["C.9.2", "glycine", "C.9.3"]


def test_cautions_defer_to_the_place():
    """For any metal: local codes and trained people decide; each caution once."""
    for name in ("WE43", "Ti"):
        found = cautions(find_material(name))
        assert found[: len(ALWAYS)] == ALWAYS and "local codes" in found[0]
        assert len(set(found)) == len(found)
    assert len(cautions(find_material("WE43"))) == len(ALWAYS) + 3
    assert cautions(find_material("Ti")) == ALWAYS
