"""Files are written whole or not at all, and never over the image they came from."""

from pathlib import Path

import numpy as np
import pytest
import tifffile

from surfscan.cli.output import refuse_unwritable, whole_file, write_labels, write_text
from surfscan.errors import InputError


def test_text_replaces_the_old_file(tmp_path):
    """A new text stands in place of the old one and nothing else is left in the folder."""
    path = tmp_path / "out.json"
    path.write_text("old")
    write_text(path, "new µm\n")
    assert path.read_bytes() == "new µm\n".encode()
    assert list(tmp_path.iterdir()) == [path]


def test_interrupted_writing_keeps_the_old_file(tmp_path):
    """A fault while writing leaves the old file as it was and no draft behind."""
    path = tmp_path / "out.json"
    path.write_text("old")
    with pytest.raises(ZeroDivisionError), whole_file(path) as draft:
        draft.write_text("half")
        _ = 1 / 0
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_dash_is_standard_output(capfdbinary):
    """'-' writes UTF-8 to standard output and nothing else."""
    write_text(Path("-"), "µm\n")
    assert capfdbinary.readouterr().out == "µm\n".encode()


def test_missing_folder(tmp_path):
    """A missing output folder is named, with what to do."""
    with pytest.raises(InputError, match=r"nowhere does not exist\. Create it"):
        write_text(tmp_path / "nowhere" / "out.json", "x")


def test_folder_as_file(tmp_path):
    """A folder cannot be written as a file."""
    with pytest.raises(InputError, match="is a folder"):
        write_text(tmp_path, "x")


def test_labels_survive(tmp_path):
    """A label TIFF gives back the same numbers, compressed."""
    labels = np.zeros((300, 400), np.int32)
    labels[20:40, 30:60] = 70_000
    path = tmp_path / "labels.tif"
    write_labels(path, labels)
    back = tifffile.imread(path)
    assert back.dtype == np.int32
    assert np.array_equal(back, labels)
    assert path.stat().st_size < labels.nbytes / 20


def test_outputs_are_checked_before_work(tmp_path):
    """The input image, one name twice and a missing folder are refused; '-' and unset outputs pass."""
    image = tmp_path / "a.tif"
    refuse_unwritable(image, [None, tmp_path / "b.tif", Path("-")])
    with pytest.raises(InputError, match="would overwrite the image itself"):
        refuse_unwritable(image, [tmp_path / "." / "a.tif"])
    with pytest.raises(InputError, match="another output"):
        refuse_unwritable(image, [tmp_path / "b", tmp_path / "b"])
    with pytest.raises(InputError, match="does not exist"):
        refuse_unwritable(image, [tmp_path / "nowhere" / "b"])
