"""The journal of edits: what was appended is on the disk, and a torn end costs the last edit at most."""

import errno
import os
import subprocess
import sys

import numpy as np
import pytest

from surfscan.corrections.journal import Journal, replay
from surfscan.corrections.pit_review import PitReview
from surfscan.errors import InputError

HEADER = {"image": "plätte.png", "procedure": "pits", "reviewer": "A. Person"}
EDITS = [
    {"kind": "reject", "ids": [1, 2]},
    {"kind": "split", "id": 3, "line": [[1.5, 2.25], [30.0, 40.0]]},
    {"kind": "undo"},
]


@pytest.fixture
def written(tmp_path):
    path = tmp_path / "new" / "folder" / "plate.jsonl"
    with Journal(path) as journal:
        journal.begin(HEADER)
        for edit in EDITS:
            journal.append(edit)
    return path


def test_what_was_written_is_read(written):
    found = replay(written)
    assert found.header == HEADER and found.edits == EDITS and found.said == ""
    assert found.whole_bytes == written.stat().st_size


def test_torn_at_every_byte(written, tmp_path):
    """All lines that lie whole before the tear are there, and nothing else."""
    content = written.read_bytes()
    ends = np.cumsum([len(line) for line in content.splitlines(keepends=True)])
    torn = tmp_path / "torn.jsonl"
    for size in range(len(content)):
        torn.write_bytes(content[:size])
        whole = int(np.searchsorted(ends, size, side="right"))
        if whole == 0:
            with pytest.raises(InputError, match="no readable first line"):
                replay(torn)
            continue
        found = replay(torn)
        assert found.edits == EDITS[: whole - 1]
        assert ("torn" in found.said) == (size > ends[whole - 1])


def test_a_changed_byte_ends_the_reading_there(written, tmp_path):
    """Whatever byte of the last but one edit is changed, it and what follows are left out."""
    content = bytearray(written.read_bytes())
    lines = bytes(content).splitlines(keepends=True)
    first = sum(len(line) for line in lines[:2])
    for place in range(first, first + len(lines[2])):
        damaged = content.copy()
        damaged[place] ^= 1
        path = tmp_path / "damaged.jsonl"
        path.write_bytes(bytes(damaged))
        found = replay(path)
        assert found.edits == EDITS[:1] and "1 edit before that is whole" in found.said


def test_lines_out_of_order_are_not_taken(written):
    lines = written.read_bytes().splitlines(keepends=True)
    written.write_bytes(b"".join([lines[0], lines[2], lines[1]]))
    assert replay(written).edits == []


def test_resuming_cuts_the_torn_end_off(written):
    with written.open("ab") as handle:
        handle.write(b'0badcafe [4,{"kind"')
    journal = Journal(written)
    found = journal.resume()
    assert found.edits == EDITS and "torn" in found.said
    journal.append({"kind": "redo"})
    journal.close()
    again = replay(written)
    assert again.edits == [*EDITS, {"kind": "redo"}] and again.said == ""


def test_beginning_anew_replaces_the_old_one_whole(written):
    journal = Journal(written)
    journal.begin({"image": "other.png"})
    journal.close()
    assert replay(written).header == {"image": "other.png"} and replay(written).edits == []
    assert [p.name for p in written.parent.iterdir()] == [written.name]
    journal.discard()
    assert not written.exists()


def test_appending_needs_a_beginning(tmp_path):
    with pytest.raises(ValueError, match="begin or resume"):
        Journal(tmp_path / "x.jsonl").append({"kind": "undo"})


def test_edits_that_json_has_no_word_for_are_refused_whole(written):
    journal = Journal(written)
    journal.resume()
    with pytest.raises(ValueError, match="JSON"):
        journal.append({"kind": "split", "id": 1, "line": [[float("nan"), 0]]})
    journal.append({"kind": "redo"})
    journal.close()
    assert replay(written).edits[-1] == {"kind": "redo"}


def test_a_missing_or_newer_journal_is_said(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        replay(tmp_path / "none.jsonl")
    with Journal(tmp_path / "new.jsonl") as journal:
        journal.begin({})
    import surfscan.corrections.journal as module

    newer = module._line(0, {"version": 99, "header": {}})
    (tmp_path / "new.jsonl").write_bytes(newer)
    with pytest.raises(InputError, match="another version"):
        replay(tmp_path / "new.jsonl")


def test_a_folder_that_is_a_file(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="kept safe"):
        Journal(tmp_path / "file" / "x.jsonl").begin({})


WRITER = """
import sys
from surfscan.corrections.journal import Journal
journal = Journal(sys.argv[1])
journal.begin({})
for k in range(10**6):
    journal.append({"kind": "reject", "ids": [k]})
    print(k, flush=True)
"""


def test_a_killed_process_loses_no_edit_that_was_done(tmp_path):
    """What `append` returned from is there after kill -9."""
    path = tmp_path / "killed.jsonl"
    process = subprocess.Popen([sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    last = -1
    for line in process.stdout:
        last = int(line)
        if last >= 40:
            break
    process.kill()
    last = max([last, *(int(line) for line in process.stdout if line.endswith("\n"))])
    process.wait()
    process.stdout.close()
    edits = replay(path).edits
    assert len(edits) >= last + 1
    assert edits[: last + 1] == [{"kind": "reject", "ids": [k]} for k in range(last + 1)]


def test_a_review_comes_back_from_its_journal(plate, tmp_path):
    """Every kind of edit, torn in the middle of the last: all but that one."""
    image, automatic = plate
    review = PitReview.start(image, automatic)
    rows, cols = np.mgrid[55:66, 112:126]
    journal = Journal(tmp_path / "plate.jsonl")
    journal.begin(HEADER)
    journal.append(review.reject([1]))
    journal.append(review.add(rows, cols))
    journal.append(review.merge([2, 4]))
    journal.append(review.undo())
    journal.append(review.repaint(3, rows, cols, True))
    before = review.corrected_labels()
    journal.append(review.mark_unsure([5]))
    journal.close()
    content = journal.path.read_bytes()
    journal.path.write_bytes(content[:-7])
    again = PitReview.start(image, automatic)
    assert again.replay(replay(journal.path).edits) == 5
    np.testing.assert_array_equal(again.corrected_labels(), before)
    assert again.status[5] == "accepted"
    assert again.can_undo and not again.can_redo


def test_an_edit_that_a_full_disk_refused_can_be_appended_again(written, monkeypatch):
    """Nothing of the refused line stays in the way, so that what follows is read."""
    real, refused = os.fsync, []

    def full(handle):
        if not refused:
            refused.append(handle)
            raise OSError(errno.ENOSPC, "No space left on device")
        real(handle)

    with Journal(written) as journal:
        journal.resume()
        monkeypatch.setattr(os, "fsync", full)
        with pytest.raises(InputError, match="disk is not full"):
            journal.append({"kind": "reject", "ids": list(range(100))})
        journal.append({"kind": "redo"})
        journal.append({"kind": "undo"})
    assert replay(written).edits == [*EDITS, {"kind": "redo"}, {"kind": "undo"}]
    assert replay(written).said == ""
