"""The batch goes on past anything, redoes only what changed, and loses nothing."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.store.lock import WriterLock
from surfscan.store.results import ResultsStore
from surfscan.study.batch import measure_study

pytestmark = pytest.mark.usefixtures("stand_ins")
MakeStudy = Callable[..., Path]


def test_measures_every_image_and_then_skips_it(make_study: MakeStudy) -> None:
    folder = make_study({"a.png": 200, "b.png": 200})
    told = []
    first = measure_study(folder, workers=1, progress=lambda *step: told.append(step))
    assert (first.done, first.failed) == (["images/a.png", "images/b.png"], [])
    assert told == [(0, 2, "", "start"), (1, 2, "images/a.png", "done"), (2, 2, "images/b.png", "done")]
    stored = ResultsStore(folder).all()
    assert [(r.image_id, r.procedure) for r in stored] == [
        (f"images/{n}.png", p) for n in "ab" for p in ("degraded", "pits")
    ]
    assert stored[0].source is not None and stored[0].source.path == "images/a.png"
    assert str(folder) not in (folder / "results.sqlite").read_bytes().decode("latin-1")
    again = measure_study(folder, workers=1)
    assert (again.done, again.skipped) == ([], ["images/a.png", "images/b.png"])


def test_workers_give_what_one_process_gives(make_study: MakeStudy) -> None:
    folder = make_study({f"{n}.png": 200 for n in range(5)})
    measure_study(folder, workers=1)
    alone = {(r.image_id, r.procedure): (r.summary, r.mask_sha256) for r in ResultsStore(folder).all()}
    (folder / "results.sqlite").unlink()
    outcome = measure_study(folder, workers=2)
    assert sorted(outcome.done) == [f"images/{n}.png" for n in range(5)]
    assert alone == {
        (r.image_id, r.procedure): (r.summary, r.mask_sha256) for r in ResultsStore(folder).all()
    }


def test_goes_on_past_bad_images(make_study: MakeStudy, write_image: Callable[..., None]) -> None:
    folder = make_study(
        {"good.png": 200, "refused.png": 201, "surprise.png": 202, "memory.png": 204, "half.png": 205,
         "gone.png": 200, "empty.png": 200, "text.png": 200, "mask.png": 200, "nomask.png": 200},
        {"mask.png": 'region = "small.png"', "nomask.png": 'region = "none.png"'},
    )  # fmt: skip
    write_image(folder / "small.png", size=20)
    (folder / "images/gone.png").unlink()
    (folder / "images/empty.png").write_bytes(b"")
    (folder / "images/text.png").write_text("not a picture")
    outcome = measure_study(folder, workers=1)
    assert outcome.done == ["images/good.png"]
    failed = dict(outcome.failed)
    assert failed.pop("images/refused.png") == "pits: the image has no metal. Look at it."
    assert "unexpected KeyError in surfscan_stand_ins.py:" in failed.pop("images/surprise.png")
    assert "memory" in failed.pop("images/memory.png")
    assert failed.pop("images/half.png") == "degraded: one class only. Look at it."
    assert "gone.png is missing" in failed.pop("images/gone.png")
    assert "0 bytes" in failed.pop("images/empty.png")
    assert "format" in failed.pop("images/text.png")
    assert "20 x 20" in failed["images/mask.png"] and "small.png" in failed.pop("images/mask.png")
    assert "none.png is missing" in failed.pop("images/nomask.png")
    assert not failed
    by_status = {(r.image_id, r.procedure): r.status for r in ResultsStore(folder).all()}
    assert by_status["images/half.png", "pits"] == "done"
    assert by_status["images/half.png", "degraded"] == "failed"
    assert by_status["images/gone.png", "pits"] == "failed"
    assert str(folder) not in " ".join(r.message for r in ResultsStore(folder).all())


@pytest.mark.slow
def test_a_dying_worker_costs_only_its_image(make_study: MakeStudy) -> None:
    folder = make_study({"a.png": 200, "deadly.png": 203, "b.png": 200, "c.png": 200, "d.png": 200})
    outcome = measure_study(folder, workers=2)
    assert sorted(outcome.done) == [f"images/{n}.png" for n in "abcd"]
    [(image, message)] = outcome.failed
    assert image == "images/deadly.png" and "died" in message


def test_redoes_only_what_changed(make_study: MakeStudy, write_image: Callable[..., None]) -> None:
    folder = make_study({"a.png": 200, "b.png": 200})
    measure_study(folder, workers=1)
    write_image(folder / "images/a.png", seed=9)
    assert measure_study(folder, workers=1).done == ["images/a.png"]
    manifest = folder / "study.toml"
    plain = manifest.read_text()
    degraded = {r.image_id: r.fingerprint for r in ResultsStore(folder).all() if r.procedure == "degraded"}
    manifest.write_text(plain + "[settings.pits]\nmin_contrast = 0.2\n")
    outcome = measure_study(folder, workers=1)
    assert outcome.done == ["images/a.png", "images/b.png"]
    stored = ResultsStore(folder).all()
    assert {r.settings["min_contrast"] for r in stored if r.procedure == "pits"} == {0.2}
    assert degraded == {r.image_id: r.fingerprint for r in stored if r.procedure == "degraded"}
    for change in ("pixel_size_um = 0.5", 'region = "images/b.png"', 'procedures = ["degraded"]\npage = 0'):
        manifest.write_text(plain + change)
        assert measure_study(folder, workers=1).done, change
    manifest.write_text(plain + 'note = "seen"\ncondition = "cleaned"')
    measure_study(folder, workers=1)
    manifest.write_text(plain + 'note = "seen again"\ncondition = "with_product"')
    assert measure_study(folder, workers=1).done == []


def test_drawn_sizes_and_companions_redo_the_parts_they_belong_to(
    make_study: MakeStudy, write_image: Callable[..., None]
) -> None:
    second = '[[specimen]]\nid = "t"\ngroup = "g"\ndrawn_strut_width_um = 400\n'
    settings = "[settings.struts]\ndrawn_width_um = 500.0\n"
    files = {
        "surface.png": "",
        "strut.png": 'shows = "strut"\nbefore = "before.png"',
        "section.png": 'shows = "section"\ntwin = "before.png"',
        "other.png": 'shows = "strut"',
    }
    folder = make_study(dict.fromkeys(files, 200), files, second)
    write_image(folder / "before.png", seed=9)
    manifest = folder / "study.toml"
    text = manifest.read_text().replace('other.png"\nspecimen = "s"', 'other.png"\nspecimen = "t"') + settings
    manifest.write_text(text)
    assert len(measure_study(folder, workers=1).done) == 4
    stored = {r.image_id: r for r in ResultsStore(folder).all()}
    assert stored["images/strut.png"].summary["drawn_width_um"] == 500
    assert stored["images/strut.png"].summary["before"] == "before.png"
    assert stored["images/section.png"].summary["twin"] == "before.png"
    assert stored["images/other.png"].summary["drawn_width_um"] == 400
    assert measure_study(folder, workers=1).done == []

    manifest.write_text(text.replace("exposure_h = 168\n", "exposure_h = 168\ndrawn_strut_width_um = 410\n"))
    assert measure_study(folder, workers=1).done == ["images/strut.png", "images/section.png"]
    manifest.write_text(manifest.read_text().replace("um = 400", "um = 405"))
    assert measure_study(folder, workers=1).done == ["images/other.png"]
    write_image(folder / "before.png", seed=10)
    assert measure_study(folder, workers=1).done == ["images/strut.png", "images/section.png"]
    text = manifest.read_text()
    manifest.write_text(text.replace('shows = "section"', 'shows = "section"\ncut_angle_deg = 12'))
    assert measure_study(folder, workers=1).done == ["images/section.png"]
    (folder / "before.png").unlink()
    outcome = measure_study(folder, workers=1)
    remedy = "Correct its name in study.toml."
    assert dict(outcome.failed) == {
        "images/strut.png": f"the picture before exposure before.png is missing. {remedy}",
        "images/section.png": f"the section of an unexposed twin before.png is missing. {remedy}",
    }


def test_an_older_result_outlives_a_failure(make_study: MakeStudy) -> None:
    folder = make_study({"a.png": 200})
    measure_study(folder, workers=1)
    before = ResultsStore(folder).all()
    picture = (folder / "images/a.png").read_bytes()
    (folder / "images/a.png").unlink()
    assert measure_study(folder, workers=1).failed
    assert {r.status for r in ResultsStore(folder).all()} == {"failed"}
    (folder / "images/a.png").write_bytes(picture)
    outcome = measure_study(folder, workers=1)
    assert outcome.skipped == ["images/a.png"]
    after = ResultsStore(folder).all()
    assert [(r.status, r.summary, r.mask_sha256) for r in after] == [
        ("done", r.summary, r.mask_sha256) for r in before
    ]


def test_a_renamed_specimen_needs_no_measuring(make_study: MakeStudy) -> None:
    folder = make_study({"a.png": 200})
    measure_study(folder, workers=1)
    manifest = folder / "study.toml"
    manifest.write_text(manifest.read_text().replace('"s"', '"S-1"'))
    assert measure_study(folder, workers=1).skipped == ["images/a.png"]
    assert {r.specimen for r in ResultsStore(folder).all()} == {"S-1"}


def test_results_of_images_that_left_the_study_are_kept(make_study: MakeStudy) -> None:
    folder = make_study({"a.png": 200, "b.png": 200})
    measure_study(folder, workers=1)
    manifest = folder / "study.toml"
    manifest.write_text(manifest.read_text().rpartition("[[image]]")[0])
    assert measure_study(folder, workers=1).skipped == ["images/a.png"]
    stray = [r for r in ResultsStore(folder).all() if r.image_id == "images/b.png"]
    assert len(stray) == 2 and not [fault for r in stray for fault in r.mask_faults()]


def test_a_changed_mask_is_kept_and_the_image_measured_again(make_study: MakeStudy) -> None:
    folder = make_study({"a.png": 200})
    measure_study(folder, workers=1)
    mask = next(r for r in ResultsStore(folder).all() if r.procedure == "pits").mask_paths["pits"]
    content = mask.read_bytes()
    mask.write_bytes(b"edited by hand")
    with pytest.raises(InputError, match="checksum"):
        next(r for r in ResultsStore(folder).all() if r.procedure == "pits").read_mask("pits")
    outcome = measure_study(folder, workers=1)
    assert outcome.done == ["images/a.png"]
    assert any("measured again" in warning for warning in outcome.warnings)
    assert mask.read_bytes() == content
    kept = mask.with_name(f"{mask.stem}-changed-1.tif")
    assert kept.read_bytes() == b"edited by hand"
    assert any(kept.name in warning for warning in outcome.warnings)
    assert measure_study(folder, workers=1).skipped == ["images/a.png"]


def test_a_missing_mask_means_measuring_again(make_study: MakeStudy) -> None:
    folder = make_study({"a.png": 200})
    measure_study(folder, workers=1)
    for mask in (folder / "masks").iterdir():
        mask.unlink()
    assert measure_study(folder, workers=1).done == ["images/a.png"]
    assert not [fault for r in ResultsStore(folder).all() for fault in r.mask_faults()]


@pytest.mark.parametrize("damage", ["header", "middle", "text"])
def test_a_damaged_database_is_set_aside_whole(make_study: MakeStudy, damage: str) -> None:
    folder = make_study({"a.png": 200})
    measure_study(folder, workers=1)
    database = folder / "results.sqlite"
    content = bytearray(database.read_bytes())
    if damage == "header":
        content[:16] = b"x" * 16
    elif damage == "middle":
        content[4096:8192] = np.random.default_rng(0).bytes(4096)
    else:
        content = bytearray(b"this was overwritten by a text editor")
    database.write_bytes(content)
    masks = {p.name for p in (folder / "masks").iterdir()}
    outcome = measure_study(folder, workers=1)
    aside = folder / "results-set-aside-1"
    assert outcome.done == ["images/a.png"]
    assert any(aside.name in warning for warning in outcome.warnings)
    assert (aside / "results.sqlite").read_bytes() == bytes(content)
    assert {p.name for p in (aside / "masks").iterdir()} == masks
    assert {r.status for r in ResultsStore(folder).all()} == {"done"}


def test_leftovers_are_tidied_but_nothing_of_the_users(make_study: MakeStudy) -> None:
    folder = make_study({"a.png": 200})
    (folder / "masks").mkdir()
    own = [folder / "masks" / name for name in ("region.png", "drawn.tif", "surfscan-notes.tif", "x.part")]
    for path in own:
        path.write_text("mine")
    orphan = b"from a run that was killed"
    left = folder / "masks" / f"a-00000000_pits_pits_{hashlib.sha256(orphan).hexdigest()[:16]}.tif"
    left.write_bytes(orphan)
    edited = folder / "masks" / "a-00000000_pits_pits_0123456789abcdef.tif"
    edited.write_bytes(b"somebody's work under one of our names")
    (folder / "masks" / "surfscan-0123.tif.part").write_bytes(b"half")
    measure_study(folder, workers=1)
    assert all(path.read_text() == "mine" for path in own)
    assert edited.exists() and not left.exists()
    assert not list((folder / "masks").glob("surfscan-*.part"))


def test_two_runs_do_not_collide(make_study: MakeStudy) -> None:
    folder = make_study({"a.png": 200})
    with WriterLock(folder), pytest.raises(InputError, match="another 'surfscan measure'"):
        measure_study(folder, workers=1)
    assert measure_study(folder, workers=1).done


def test_ctrl_c_leaves_what_was_measured(make_study: MakeStudy) -> None:
    folder = make_study({"a.png": 200, "b.png": 200, "c.png": 200})

    def interrupt(finished: int, *_: object) -> None:
        if finished == 1:
            raise KeyboardInterrupt

    for workers in (1, 2):
        with pytest.raises(KeyboardInterrupt):
            measure_study(folder, workers=workers, progress=interrupt)
        (folder / "results.sqlite").unlink() if workers == 1 else None
    assert not list((folder / "masks").glob("*.part"))
    outcome = measure_study(folder, workers=1)
    assert len(outcome.skipped) == 1 and len(outcome.done) == 2


def test_refuses_a_study_without_images_and_no_workers(make_study: MakeStudy) -> None:
    with pytest.raises(InputError, match="names no image"):
        measure_study(make_study({}))
    with pytest.raises(InputError, match="0 workers"):
        measure_study(make_study({"a.png": 200}), workers=0)


def test_refuses_a_foreign_database_and_leaves_it_alone(make_study: MakeStudy) -> None:
    folder = make_study({"a.png": 200})
    with sqlite3.connect(folder / "results.sqlite") as database:
        database.execute("CREATE TABLE theirs (x)")
    database.close()
    before = (folder / "results.sqlite").read_bytes()
    with pytest.raises(InputError, match="not made by surfscan"):
        measure_study(folder, workers=1)
    assert (folder / "results.sqlite").read_bytes() == before
