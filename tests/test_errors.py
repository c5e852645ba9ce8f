import pickle
from pathlib import Path

import pytest

from surfscan.errors import InputError


@pytest.mark.parametrize(("path", "fault", "remedy", "text"), [
    (Path("a.tif"), "the file is empty", "Copy it again", "a.tif: the file is empty. Copy it again."),
    ("study.toml:7", "unknown key.", "Remove it.", "study.toml:7: unknown key. Remove it."),
    (None, "no scale", "State it", "no scale. State it."),
])  # fmt: skip
def test_one_line_says_where_what_and_what_to_do(path, fault, remedy, text):
    error = InputError(path, fault, remedy)
    assert str(error) == error.args[0] == text
    assert (error.fault, error.remedy) == (fault, remedy)


@pytest.mark.parametrize("path", ["a.tif", None])
def test_survives_the_way_back_from_a_worker(path):
    error = pickle.loads(pickle.dumps(InputError(path, "broken", "Mend it")))
    assert isinstance(error, InputError)
    assert (error.path, error.fault, error.remedy) == (path, "broken", "Mend it")
