"""Marks as runs of labels, there and back."""

from __future__ import annotations

import numpy as np
import pytest

from surfscan.store.marks import marks_as_runs, marks_of_runs


def test_runs_are_short() -> None:
    marks = dict.fromkeys(range(1, 100), "accepted") | {41: "rejected", 43: "rejected", 50: "unsure"}
    assert marks_as_runs(marks) == {
        "accepted": "1-40 42 44-49 51-99",
        "rejected": "41 43",
        "unsure": "50",
    }
    assert marks_as_runs({}) == marks_of_runs({}) == {}


@pytest.mark.parametrize("seed", range(5))
def test_there_and_back(seed: int) -> None:
    rng = np.random.default_rng(seed)
    labels = rng.choice(10_000, 3000, replace=False)
    words = rng.choice(["accepted", "rejected", "unsure"], 3000, p=[0.9, 0.08, 0.02])
    marks = {int(label): str(word) for label, word in zip(labels, words, strict=True)}
    assert marks_of_runs(marks_as_runs(marks)) == marks
    assert list(marks_of_runs(marks_as_runs(marks))) == sorted(marks)


@pytest.mark.parametrize("text", ["1-", "a", "1-2-3", "1,2"])
def test_nonsense_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="invalid literal"):
        marks_of_runs({"accepted": text})
