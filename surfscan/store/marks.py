"""Marks on objects as text: runs of labels, short and quick to read for thousands of objects."""

from __future__ import annotations

from collections.abc import Mapping, Sequence


def marks_as_runs(marks: Mapping[int, str]) -> dict[str, str]:
    """Mark -> its labels as "1-40 42 44-99", from label -> mark."""
    labels: dict[str, list[int]] = {}
    for label, mark in sorted(marks.items()):
        labels.setdefault(mark, []).append(int(label))
    return {mark: _ranges(own) for mark, own in labels.items()}


def _ranges(labels: Sequence[int]) -> str:
    starts = [k for k, label in enumerate(labels) if k == 0 or labels[k - 1] != label - 1]
    runs = [labels[k:end] for k, end in zip(starts, [*starts[1:], len(labels)], strict=True)]
    return " ".join(str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)


def marks_of_runs(by_mark: Mapping[str, str]) -> dict[int, str]:
    """The opposite of `marks_as_runs`, in the order of the labels.

    Raises
    ------
    ValueError
        If a text is no runs of whole numbers.
    """
    marks = {}
    for mark, text in by_mark.items():
        for run in text.split():
            first, dash, last = run.partition("-")
            marks.update(dict.fromkeys(range(int(first), int(last if dash else first) + 1), mark))
    return dict(sorted(marks.items()))
