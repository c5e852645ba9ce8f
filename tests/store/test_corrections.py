"""Corrections on disk: never written to twice, never lost, whatever happens in between."""

from __future__ import annotations

import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.store import corrections
from surfscan.store.corrections import (
    Correction,
    corrections_of,
    in_force,
    mask_fault,
    own_files,
    read_correction_mask,
    save_correction,
    unsaved_files,
    unsaved_path,
)

NOON = datetime(2026, 5, 4, 12, 0, 0, tzinfo=UTC)
MASK = np.arange(12, dtype=np.int32).reshape(3, 4)


def _save(folder: Path, **given: Any) -> Correction:
    usual: dict[str, Any] = {
        "image_id": "images/a b.png#2",
        "procedure": "pits",
        "reviewer": "A. Reviewer",
        "reason": "two scratches",
        "image_sha256": "ab" * 32,
        "mask": MASK,
        "now": NOON,
    }
    return save_correction(folder, **usual | given)


def test_comes_back_as_saved(tmp_path: Path) -> None:
    saved = _save(
        tmp_path,
        base_fingerprint="f" * 64,
        base_mask_sha256="m" * 64,
        settings={"min_contrast": 0.1, "max_aspect": None},
        changes={"rejected_count": 2, "touched_fraction": 0.25},
        marks={1: "accepted", 2: "rejected", 7: "rejected", 9: "unsure"},
    )
    [found] = corrections_of(tmp_path)
    assert found == saved
    assert (found.image_id, found.procedure, found.reviewer) == ("images/a b.png#2", "pits", "A. Reviewer")
    assert (found.saved_at, found.number, found.reason) == ("2026-05-04T12:00:00Z", 1, "two scratches")
    assert found.settings == {"min_contrast": 0.1, "max_aspect": None}
    assert found.changes == {"rejected_count": 2, "touched_fraction": 0.25}
    assert found.marks == {1: "accepted", 2: "rejected", 7: "rejected", 9: "unsure"}
    assert found.said == "A. Reviewer on 2026-05-04"
    np.testing.assert_array_equal(read_correction_mask(found), MASK)
    assert found.path.name.startswith("a-b-") and found.path.name.endswith("_pits_20260504T120000Z-1.toml")
    assert found.mask_file == found.path.with_suffix(".tif").name


def test_every_save_is_a_file_of_its_own(tmp_path: Path) -> None:
    first = _save(tmp_path)
    content = first.path.read_bytes()
    others = [_save(tmp_path, reason=str(k)) for k in range(3)]
    assert first.path.read_bytes() == content
    assert [c.number for c in corrections_of(tmp_path)] == [1, 2, 3, 4]
    assert len({c.path for c in [first, *others]}) == 4
    assert not list((tmp_path / "corrections").glob("*.part"))


def test_the_latest_save_counts_or_that_of_the_named_reviewer(tmp_path: Path) -> None:
    first = _save(tmp_path, reviewer="A", now=NOON)
    second = _save(tmp_path, reviewer="B", now=NOON + timedelta(minutes=1))
    other = _save(tmp_path, image_id="other.png", reviewer="A", now=NOON + timedelta(hours=1))
    newer_file = _save(tmp_path, reviewer="A", image_sha256="cd" * 32, now=NOON + timedelta(hours=2))
    found = corrections_of(tmp_path)
    assert in_force(found, first.image_id, "pits") == newer_file
    assert in_force(found, first.image_id, "pits", image_sha256="ab" * 32) == second
    assert in_force(found, first.image_id, "pits", image_sha256="ab" * 32, reviewer="A") == first
    assert in_force(found, first.image_id, "pits", reviewer="C") is None
    assert in_force(found, first.image_id, "degraded") is None
    assert in_force(found, "other.png", "pits") == other


def test_a_clock_set_back_does_not_bring_an_older_save_to_the_front(tmp_path: Path) -> None:
    first = _save(tmp_path, reason="first", now=NOON)
    second = _save(tmp_path, reason="second", now=NOON - timedelta(days=400))
    third = _save(tmp_path, reason="third", now=NOON - timedelta(seconds=1))
    assert [c.reason for c in corrections_of(tmp_path)] == ["first", "second", "third"]
    assert {c.saved_at for c in (first, second, third)} == {"2026-05-04T12:00:00Z"}
    fourth = _save(tmp_path, reason="fourth", now=NOON + timedelta(seconds=1))
    assert fourth.saved_at == "2026-05-04T12:00:01Z" and corrections_of(tmp_path)[-1] == fourth


def test_many_saving_at_once_lose_nothing(tmp_path: Path) -> None:
    """Threads that all start from the same listing of the folder."""
    with ThreadPoolExecutor(8) as pool:
        saved = list(pool.map(lambda k: _save(tmp_path, reason=str(k), mask=MASK + k), range(24)))
    found = corrections_of(tmp_path)
    assert not found.faults and len(found) == 24
    assert {c.path for c in saved} == {c.path for c in found}
    assert sorted(c.reason for c in found) == sorted(str(k) for k in range(24))
    for one in found:
        np.testing.assert_array_equal(read_correction_mask(one), MASK + int(one.reason))


def test_processes_saving_at_once_lose_nothing(tmp_path: Path) -> None:
    code = (
        "import sys, numpy as np; from surfscan.store.corrections import save_correction\n"
        "for k in range(6): save_correction(sys.argv[1], image_id='a.png', procedure='pits', "
        "reviewer=sys.argv[2], reason=str(k), image_sha256='', mask=np.full((3, 3), k))"
    )
    running = [subprocess.Popen([sys.executable, "-c", code, str(tmp_path), name]) for name in "AB"]
    assert [process.wait() for process in running] == [0, 0]
    found = corrections_of(tmp_path)
    assert not found.faults
    assert sorted((c.reviewer, c.reason) for c in found) == [(n, str(k)) for n in "AB" for k in range(6)]
    for name in "AB":  # in the order in which each saved
        assert [c.reason for c in found if c.reviewer == name] == [str(k) for k in range(6)]
    assert all(int(read_correction_mask(c).max()) == int(c.reason) for c in found)


@pytest.mark.parametrize("step", ["claimed", "mask half written", "mask named", "record half written"])
def test_a_kill_at_any_step_leaves_what_was_saved(tmp_path: Path, step: str) -> None:
    """The process ends for good there; the save before is untouched and the next one is whole."""
    first = _save(tmp_path, reason="first")
    before = {p.name: p.read_bytes() for p in (tmp_path / "corrections").iterdir()}
    code = f"""
import os, sys
from pathlib import Path
import numpy as np
from surfscan.store import corrections, once
write = once.write_once
def dies(path, content, is_claimed):
    part = corrections.part_of(path)
    if {step!r} == "claimed" or ({step!r} == "mask named" and path.suffix == ".toml"):
        os._exit(9)
    if {step!r} == ("mask half written" if path.suffix == ".tif" else "record half written"):
        part.write_bytes(content[: len(content) // 2])
        os._exit(9)
    write(path, content, is_claimed=is_claimed)
once.write_once = dies
corrections.save_correction(sys.argv[1], image_id="images/a b.png#2", procedure="pits", reviewer="A",
    reason="killed", image_sha256="ab" * 32, mask=np.ones((3, 4), int))
"""
    assert subprocess.run([sys.executable, "-c", code, str(tmp_path)], check=False).returncode == 9
    for name, content in before.items():
        assert (tmp_path / "corrections" / name).read_bytes() == content
    found = corrections_of(tmp_path)
    assert found.all == (first,)
    assert len(found.faults) == (step in ("mask named", "record half written"))
    assert all("no record beside it" in fault.fault for fault in found.faults)
    later = _save(tmp_path, reason="later", now=datetime.now(UTC))
    assert corrections_of(tmp_path).all == (first, later)
    np.testing.assert_array_equal(read_correction_mask(later), MASK)
    assert later.number == 3  # the name of the killed save is not taken again


@pytest.mark.parametrize("damage", ["flipped", "cut", "emptied", "not text", "edited"])
def test_a_damaged_record_is_named_and_the_others_stand(tmp_path: Path, damage: str) -> None:
    first, second = _save(tmp_path, reason="first"), _save(tmp_path, reason="second")
    content = second.path.read_bytes()
    second.path.write_bytes(
        {
            "flipped": content.replace(b"second", b"secpnd"),
            "cut": content[:-20],
            "emptied": b"",
            "not text": b"\xff" + content,
            "edited": content.replace(b'"A. Reviewer"', b'"B. Reviewer"'),
        }[damage]
    )
    found = corrections_of(tmp_path)
    assert found.all == (first,)
    [fault] = found.faults
    assert fault.path == str(second.path) and "damaged" in fault.fault and fault.remedy
    assert second.path.is_file()
    assert found.faults_said[0].startswith(f"corrections/{second.name}: this correction is damaged")


def test_other_line_ends_are_no_damage(tmp_path: Path) -> None:
    saved = _save(tmp_path)
    saved.path.write_bytes(saved.path.read_bytes().replace(b"\n", b"\r\n"))
    [found] = corrections_of(tmp_path)
    assert found == saved


def test_a_record_of_another_version_is_named(tmp_path: Path) -> None:
    saved = _save(tmp_path)
    text = saved.path.read_text(encoding="utf-8").partition("\n")[2].replace('reason = "', 'cause = "')
    saved.path.write_text(f"{corrections._HEAD}{corrections._sha256(text)}\n{text}", encoding="utf-8")
    [fault] = corrections_of(tmp_path).faults
    assert "another form" in fault.fault and "Upgrade" in fault.remedy


def test_a_missing_or_changed_mask_is_told(tmp_path: Path) -> None:
    saved = _save(tmp_path)
    mask = saved.path.with_name(saved.mask_file)
    content = mask.read_bytes()
    mask.write_bytes(content[:-1] + b"\x00")
    assert mask_fault(saved, verify=False) is None
    with pytest.raises(InputError, match="was changed"):
        read_correction_mask(saved)
    mask.unlink()
    fault = mask_fault(saved, verify=False)
    assert fault is not None and "is missing" in fault.fault
    with pytest.raises(InputError, match="Reviewer on 2026-05-04 is missing"):
        read_correction_mask(saved)


def test_edges_and_scales_need_edits_and_no_mask(tmp_path: Path) -> None:
    edits = {"moves": [{"strut": 1, "offsets_px": [0.5, 1.0], "side": "left"}], "note": "product"}
    saved = _save(tmp_path, procedure="struts", mask=None, edits=edits)
    assert saved.edits == edits and saved.mask_file == "" and mask_fault(saved) is None
    with pytest.raises(InputError, match="has no mask"):
        read_correction_mask(saved)
    for wrong in ({"procedure": "struts"}, {"procedure": "scale", "mask": None}, {"mask": None}):
        with pytest.raises(ValueError, match="needs"):
            _save(tmp_path, **wrong)
    with pytest.raises(ValueError, match="cannot be corrected"):
        _save(tmp_path, procedure="texture")


def test_nobody_saves_without_a_name(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="Write your name"):
        _save(tmp_path, reviewer="  ")
    assert _save(tmp_path, reviewer="  A.\n Reviewer ").reviewer == "A. Reviewer"


def test_a_save_that_cannot_be_written_says_so(tmp_path: Path) -> None:
    (tmp_path / "corrections").write_text("a file in the way", encoding="utf-8")
    with pytest.raises(InputError, match="cannot be saved"):
        _save(tmp_path)


def test_files_of_others_are_left_out(tmp_path: Path) -> None:
    saved = _save(tmp_path)
    home = tmp_path / "corrections"
    for name in ("notes.toml", "drawing.tif", "a-12345678_pits.toml"):
        (home / name).write_text("mine", encoding="utf-8")
    assert corrections_of(tmp_path).all == (saved,) and not corrections_of(tmp_path).faults
    assert [p.name for p in own_files(tmp_path)] == sorted([saved.path.name, saved.mask_file])
    assert len(corrections_of(tmp_path / "nowhere")) == 0


def test_unsaved_work_has_a_place_for_every_reviewer(tmp_path: Path) -> None:
    names = ["A. Reviewer", "a reviewer", "Ä", "Ö", "", "x" * 300]
    paths = [unsaved_path(tmp_path, "images/a.png", "pits", name) for name in names]
    assert len(set(paths)) == len(names)
    assert {p.parent for p in paths} == {tmp_path / "corrections" / "unsaved"}
    assert all(len(p.name) < 150 for p in paths)
    assert paths[0] == unsaved_path(tmp_path, "images/a.png", "pits", "A. Reviewer")
    paths[0].parent.mkdir(parents=True)
    paths[0].write_text("{}", encoding="utf-8")
    (paths[0].parent / "mine.jsonl").write_text("{}", encoding="utf-8")
    assert unsaved_files(tmp_path) == [paths[0]]
    assert own_files(tmp_path) == [paths[0]]


def test_a_changed_record_is_read_again(tmp_path: Path) -> None:
    """Records are remembered by size and time of change only."""
    saved = _save(tmp_path)
    assert corrections_of(tmp_path).all == (saved,)
    content = saved.path.read_bytes()
    saved.path.write_bytes(content.replace(b"scratches", b"scrstches"))
    os.utime(saved.path, ns=(0, 10**18))
    assert len(corrections_of(tmp_path).faults) == 1
    saved.path.write_bytes(content)
    assert corrections_of(tmp_path).all == (saved,)


def test_a_file_of_another_name_keeps_its_corrections(tmp_path: Path) -> None:
    saved = _save(tmp_path, image_id="old/a.tif#2", image_sha256="one")
    other = _save(tmp_path, image_id="b.png", image_sha256="two")
    found = corrections_of(tmp_path, ["new/a.tif#2", "new/a.tif#3", "b.png", "c.png"])
    assert found.of_file("new/a.tif#2", "one") == {"pits": (saved,)}
    assert in_force(found, "new/a.tif#2", "pits", image_sha256="one") == saved
    assert found.of_file("new/a.tif#3", "one") == {}  # another page
    assert found.of_file("new/a.tif#2", "two") == found.of_file("new/a.tif#2", None) == {}
    assert found.of_file("c.png", "two") == {}  # a twin of an image that is still named
    assert found.of_file("b.png", "two") == {"pits": (other,)}
    assert corrections_of(tmp_path).of_file("new/a.tif#2", "one") == {}


def test_saves_under_an_old_name_and_the_new_one_stand_together(tmp_path: Path) -> None:
    """Whose corrections count is asked of all of them, whatever the file was called."""
    first = _save(tmp_path, image_id="old.png", reviewer="A", image_sha256="one", now=NOON)
    older = _save(tmp_path, image_id="older.png", reviewer="A", image_sha256="one", procedure="degraded")
    latest = _save(
        tmp_path, image_id="new.png", reviewer="B", image_sha256="one", now=NOON + timedelta(hours=1)
    )
    found = corrections_of(tmp_path, ["new.png"])
    assert found.of_file("new.png", "one") == {"pits": (first, latest), "degraded": (older,)}
    assert in_force(found, "new.png", "pits", image_sha256="one") == latest
    assert in_force(found, "new.png", "pits", image_sha256="one", reviewer="A") == first


def test_a_name_is_the_same_however_its_accents_were_typed(tmp_path: Path) -> None:
    saved = _save(tmp_path, reviewer="Zoe\u0308 \n Example")
    assert saved.reviewer == "Zo\u00eb Example"
    assert in_force(corrections_of(tmp_path), saved.image_id, "pits", reviewer="Zoe\u0308 Example") == saved


@pytest.mark.parametrize("failing", [1, 2])
def test_a_full_disk_keeps_nothing_of_a_failed_save(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: int
) -> None:
    """Whether the mask or the record finds no room: what is left would only fill the disk further."""
    first = _save(tmp_path)
    before = sorted(p.name for p in (tmp_path / "corrections").iterdir())
    real, calls = os.fsync, []

    def full(handle: int) -> None:
        calls.append(handle)
        if len(calls) == 2 * failing - 1:  # a file, then its folder
            raise OSError(28, "No space left on device")
        real(handle)

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="disk is not full"):
        _save(tmp_path)
    assert sorted(p.name for p in (tmp_path / "corrections").iterdir()) == before
    assert _save(tmp_path).number == first.number + 1
