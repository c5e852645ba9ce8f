"""The one error about input: what it says and that it survives a process boundary."""

import pickle
from pathlib import Path

from surfscan.errors import InputError


def test_says_where_what_and_what_to_do():
    """File, fault and remedy stand in one line."""
    error = InputError(Path("a.tif"), "is empty (0 bytes)", "Export the image again")
    assert str(error) == "a.tif: is empty (0 bytes). Export the image again."
    assert (error.path, error.fault, error.remedy) == (
        "a.tif",
        "is empty (0 bytes)",
        "Export the image again",
    )


def test_no_double_stop():
    """Sentences that bring their own stop keep it, a question its mark."""
    assert str(InputError("a", "is empty.", "Export it again.")) == "a: is empty. Export it again."
    assert str(InputError("a", "unknown key 'x'", "Did you mean 'y'?")).endswith("Did you mean 'y'?")


def test_without_a_file():
    """A fault that is in no file names none."""
    assert str(InputError(None, "0 workers cannot measure", "Give 1 or more")).startswith("0 workers")


def test_survives_pickling():
    """It comes back from a worker process as it went."""
    error = InputError("study.toml:3", "unknown key 'x'", "Did you mean 'y'?")
    back = pickle.loads(pickle.dumps(error))
    assert type(back) is InputError
    assert (back.path, back.fault, back.remedy) == (error.path, error.fault, error.remedy)
    assert str(back) == str(error)
