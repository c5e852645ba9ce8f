"""Every kind of correction through save, measuring and report: classes, sections, strut edges, heights."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest

from surfscan.corrections.strut_edits import StrutReview
from surfscan.report.build import write_report
from surfscan.report.records import FieldRecord, gather
from surfscan.store.results import ResultsStore
from surfscan.study.batch import measure_study
from surfscan.study.entries import Study
from surfscan.study.manifest import load_study
from surfscan.study.reviews import open_for_review, review_items, save_review

HEAD = 'title = "Kinds"\n[[group]]\nname = "g"\n[[specimen]]\nid = "s"\ngroup = "g"\n'


@pytest.fixture
def measured(tmp_path: Path) -> Callable[..., Study]:
    """Writes one picture with its entry, and measures it."""

    def make(pixels: np.ndarray, entry: str) -> Study:
        (tmp_path / "a.png").write_bytes(cv2.imencode(".png", pixels)[1].tobytes())
        text = f'{HEAD}[[image]]\nfile = "a.png"\nspecimen = "s"\ncondition = "cleaned"\n{entry}\n'
        (tmp_path / "study.toml").write_text(text, encoding="utf-8")
        assert not measure_study(tmp_path, workers=1).failed
        return load_study(tmp_path)

    return make


def _after(study: Study) -> FieldRecord:
    """The image after a batch that finds nothing left to do, with its report written."""
    assert measure_study(study.folder, workers=1).skipped == ["a.png"]
    assert review_items(study)[0].state == "reviewed"
    write_report(study.folder)
    [record], _ = gather(study, ResultsStore(study.folder).all())
    return record


def test_a_class_painted_over_moves_the_fraction(measured: Callable[..., Study]) -> None:
    rng = np.random.default_rng(3)
    grey = rng.normal(180, 4, (200, 260))
    grey[:, 180:] -= 70
    study = measured(np.clip(grey, 0, 255).astype(np.uint8), 'procedures = ["degraded"]\npixel_size_um = 1.0')
    opened = open_for_review(study, "a.png")
    mask = opened.automatic["degraded"].read_mask("degraded").copy()
    before = np.count_nonzero(mask == 2) / mask.size
    mask[:, 220:] = 0
    said: list[str] = []
    save_review(study, opened, "degraded", reviewer="A", reason="shadow", mask=mask, tell=said.append)
    assert said == ["Saved and measured."]
    record = _after(study)
    assert record.figure("degraded", "degraded_area_fraction") == pytest.approx(40 / 260, abs=0.01)
    assert record.automatic["degraded"].summary["degraded_area_fraction"] == pytest.approx(before)
    page = (study.folder / "report.html").read_text(encoding="utf-8")
    assert "shadow" in page and "Corrected by hand" in page


def test_metal_painted_off_a_section_moves_what_remains(
    measured: Callable[..., Study], draw_section: Callable[..., np.ndarray]
) -> None:
    grey = draw_section((240, 300), [("ellipse", 150, 120, 160, 120, 210)])
    study = measured(grey, 'shows = "section"\npixel_size_um = 1.0')
    opened = open_for_review(study, "a.png")
    mask = opened.automatic["section"].read_mask("section").copy()
    area = np.count_nonzero(mask == 1)
    mask[:, :110][mask[:, :110] == 1] = 2
    save_review(study, opened, "section", reviewer="A", reason="", mask=mask)
    record = _after(study)
    left = float(record.table("profiles")["metal_area_px"].sum())
    assert left == pytest.approx(np.count_nonzero(mask == 1), rel=0.02) and left < 0.9 * area


def test_a_dragged_edge_moves_the_width(measured: Callable[..., Study]) -> None:
    grey = np.full((240, 320), 200, np.uint8)
    cv2.rectangle(grey, (20, 100), (300, 139), 40, -1)
    grey = cv2.GaussianBlur(grey, (0, 0), 1.2)
    study = measured(grey, 'shows = "strut"\npixel_size_um = 1.0')
    opened = open_for_review(study, "a.png")
    review = StrutReview.start(opened.image, opened.settings["struts"])
    middle = len(review.stations()["strut"]) // 2
    review.drag(review.handle_at(middle, "left"), -6.0)
    said: list[str] = []
    save_review(
        study,
        opened,
        "struts",
        reviewer="A",
        reason="product",
        edits=review.edits(),
        changes=review.changes().as_dict(),
        tell=said.append,
    )
    assert said == ["Saved and measured."]
    record = _after(study)
    automatic = record.automatic["struts"].summary["min_width_um"]
    assert record.figure("struts", "min_width_um") == pytest.approx(automatic - 6, abs=0.5)
    rows = (study.folder / "tables" / "by_hand.csv").read_text(encoding="utf-8")
    assert "min_strut_width_um" in rows
    share = record.corrections["struts"].changes["by_hand_fraction"]
    assert 0 < share < 1


def test_a_pit_of_a_height_map_is_taken_off(tmp_path: Path) -> None:
    import tifffile

    rng = np.random.default_rng(5)
    rows, cols = np.mgrid[:160, :200]
    heights = rng.normal(0, 0.05, rows.shape)
    for row, col in ((50, 60), (110, 140)):
        heights -= 5 * np.exp(-((rows - row) ** 2 + (cols - col) ** 2) / (2 * 6.0**2))
    tifffile.imwrite(
        tmp_path / "a.tif", heights.astype(np.float32), resolution=(1e4, 1e4), resolutionunit="CENTIMETER"
    )
    text = f'{HEAD}[[image]]\nfile = "a.tif"\nspecimen = "s"\nshows = "heights"\nprocedures = ["pits"]\n'
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    assert not measure_study(tmp_path, workers=1).failed
    study = load_study(tmp_path)
    opened = open_for_review(study, "a.tif")
    labels = opened.automatic["pits"].read_mask("pits")
    assert labels.max() == 2
    save_review(study, opened, "pits", reviewer="A", reason="", mask=np.where(labels == 1, 0, labels))
    stored = ResultsStore(tmp_path).of_image("a.tif")
    assert (stored["pits"].summary["pit_count"], stored["pits_reviewed"].summary["pit_count"]) == (2, 1)
    write_report(tmp_path)
    rows_ = (tmp_path / "tables" / "by_hand.csv").read_text(encoding="utf-8").splitlines()
    assert any(row.startswith("specimen,s,max_depth_um") for row in rows_)


def test_an_image_that_goes_missing_while_saving_loses_nothing(measured: Callable[..., Study]) -> None:
    grey = np.full((120, 160), 180, np.uint8)
    cv2.circle(grey, (60, 60), 10, 50, -1)
    study = measured(cv2.GaussianBlur(grey, (0, 0), 1.0), 'procedures = ["pits"]')
    opened = open_for_review(study, "a.png")
    (study.folder / "a.png").unlink()
    said: list[str] = []
    mask = np.zeros(opened.image.shape, np.int32)
    saved = save_review(study, opened, "pits", reviewer="A", reason="", mask=mask, tell=said.append)
    assert saved.path.is_file()
    assert said[0].startswith("Saved, not measured yet (the image a.png is missing)")
