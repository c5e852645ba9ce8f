"""A fingerprint changes with all that decides a result, and with nothing else."""

from __future__ import annotations

from surfscan.procedures.settings import DegradedSettings, PitSettings
from surfscan.study.manifest import ImageEntry
from surfscan.study.tasks import PROCEDURES, fingerprint

IMAGE = ImageEntry(file="a.png", specimen="s")
SETTINGS = PitSettings()


def test_what_decides_a_result_enters() -> None:
    marks = [
        fingerprint(IMAGE, "pits", SETTINGS, "0", None),
        fingerprint(IMAGE, "pits", SETTINGS, "1", None),
        fingerprint(IMAGE, "pits", SETTINGS, "0", "0"),
        fingerprint(IMAGE, "pits", PitSettings(min_contrast=0.2), "0", None),
        fingerprint(IMAGE, "degraded", DegradedSettings(), "0", None),
        fingerprint(IMAGE, "pits", SETTINGS, "0", None, version="0"),
        fingerprint(IMAGE.model_copy(update={"page": 0}), "pits", SETTINGS, "0", None),
        fingerprint(IMAGE.model_copy(update={"pixel_size_um": (1.0, 1.0)}), "pits", SETTINGS, "0", None),
        fingerprint(IMAGE.model_copy(update={"pixel_size_um": (1.0, 2.0)}), "pits", SETTINGS, "0", None),
    ]
    assert len(set(marks)) == len(marks)


def test_nothing_else_does() -> None:
    other = {"file": "b.png", "specimen": "t", "condition": "cleaned", "field_choice": "random", "note": "n"}
    assert fingerprint(IMAGE.model_copy(update=other), "pits", SETTINGS, "0", None) == fingerprint(
        IMAGE, "pits", SETTINGS, "0", None
    )


def test_there_is_a_function_for_every_procedure_of_the_manifest() -> None:
    assert set(IMAGE.procedures) == set(PROCEDURES)
