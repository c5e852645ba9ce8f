"""The store: whole results or none, the old one until the new one is there."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.procedures.result import Result
from surfscan.store import masks, results
from surfscan.store.results import Failure, ResultsStore, StoredResult, stage

MakeResult = Callable[..., Result]


def _comparable(stored: StoredResult) -> tuple:
    return (stored.image_id, stored.status, stored.fingerprint, stored.summary, dict(stored.mask_sha256))


def test_a_result_comes_back_as_it_was(tmp_path: Path, make_result: MakeResult) -> None:
    result = make_result()
    ResultsStore(tmp_path).save("images/a.png#2", "U07-1", "mark", result)
    [stored] = ResultsStore(tmp_path).all()
    assert (stored.image_id, stored.specimen, stored.procedure) == ("images/a.png#2", "U07-1", "pits")
    assert (stored.status, stored.message, stored.fingerprint) == ("done", "", "mark")
    assert (stored.source, stored.calibration) == (result.source, result.calibration)
    assert stored.settings == result.settings
    assert stored.summary == {"pit_count": 3, "pit_density_per_mm2_ci95": [0.5, 1.5]}
    assert (stored.warnings, stored.version) == (result.warnings, result.version)
    for name, table in result.tables.items():
        assert list(stored.tables[name]) == list(table)
        for column, values in table.items():
            np.testing.assert_array_equal(stored.tables[name][column], values)
    for name, mask in result.masks.items():
        np.testing.assert_array_equal(stored.read_mask(name), mask)


def test_results_without_scale_tables_or_masks(tmp_path: Path, make_result: MakeResult) -> None:
    bare = replace(make_result(), calibration=None, tables={}, masks={}, warnings=())
    ResultsStore(tmp_path).save("a", "s", "mark", bare)
    [stored] = ResultsStore(tmp_path).all()
    assert stored.calibration is None and not stored.tables and not stored.mask_paths


def test_the_same_results_give_the_same_content_whenever(tmp_path: Path, make_result: MakeResult) -> None:
    content = []
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        ResultsStore(tmp_path / name).save("a", "s", "mark", make_result())
        with closing(sqlite3.connect(tmp_path / name / "results.sqlite")) as database:
            rows = database.execute("SELECT record, version FROM result").fetchall()
            content.append((rows, database.execute("SELECT * FROM data_table ORDER BY name").fetchall()))
    assert content[0] == content[1]


def test_numbers_that_json_has_no_word_for_are_refused(tmp_path: Path, make_result: MakeResult) -> None:
    store = ResultsStore(tmp_path)
    with pytest.raises(ValueError, match="JSON"):
        store.save("a", "s", "mark", replace(make_result(), summary={"pit_count": float("nan")}))
    with pytest.raises(TypeError, match="object does not go into a result"):
        store.save("a", "s", "mark", replace(make_result(), summary={"pit_count": object()}))
    assert store.all() == []


def test_a_new_result_replaces_the_old_one_and_its_masks(tmp_path: Path, make_result: MakeResult) -> None:
    store = ResultsStore(tmp_path)
    store.save("a", "s", "one", make_result(3))
    store.save("a", "s", "two", make_result(5))
    [stored] = store.all()
    assert stored.fingerprint == "two" and len(stored.tables["pits"]["label"]) == 5
    assert sorted(masks.own_files(tmp_path)) == sorted(stored.mask_paths.values())


def test_a_failure_hides_an_older_result_without_losing_it(tmp_path: Path, make_result: MakeResult) -> None:
    store = ResultsStore(tmp_path)
    store.save("a", "s", "one", make_result())
    store.save("a", "s", "one", make_result(procedure="degraded"))
    store.save_failure("a", "s", "pits", "two", "no metal")
    assert [(r.procedure, r.status, r.message) for r in store.all()] == [
        ("degraded", "done", ""),
        ("pits", "failed", "no metal"),
    ]
    hidden = next(r for r in store.done() if r.procedure == "pits")
    assert hidden.read_mask("pits").max() == 3
    store.forget_failure("a", "pits")
    assert [r.status for r in store.all()] == ["done", "done"]
    store.save_failure("a", "s", "pits", "two", "no metal")
    store.save("a", "s", "three", make_result())
    assert [r.status for r in store.all()] == ["done", "done"]


def test_an_image_is_one_transaction(
    tmp_path: Path, make_result: MakeResult, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever is cut off between any two steps of a commit, the old results are whole."""
    store = ResultsStore(tmp_path)
    old = [make_result(3), make_result(2, "degraded")]
    store.commit("a", "s", [("old", stage(tmp_path, "a", result)) for result in old])
    before = [_comparable(r) for r in store.all()]
    new = [make_result(5), make_result(4, "degraded")]

    class Cut(BaseException):
        pass

    steps = 0
    place = masks.place_mask

    def cut_off_after(count: int) -> None:
        nonlocal steps
        steps = 0

        def step(*args: object) -> object:
            nonlocal steps
            steps += 1
            if steps > count:
                raise Cut
            return place(*args)

        monkeypatch.setattr(results.masks, "place_mask", step)

    for count in range(4):
        staged = [("new", stage(tmp_path, "a", result)) for result in new]
        cut_off_after(count)
        with pytest.raises(Cut):
            store.commit("a", "s", staged)
        assert [_comparable(r) for r in store.all()] == before
        assert not [fault for r in store.all() for fault in r.mask_faults()]
    cut_off_after(4)
    store.commit("a", "s", [("new", stage(tmp_path, "a", result)) for result in new])
    assert {r.fingerprint for r in store.all()} == {"new"}


def test_a_full_disk_is_named(tmp_path: Path, make_result: MakeResult) -> None:
    store = ResultsStore(tmp_path)
    store.path.mkdir()
    with pytest.raises(InputError, match=r"cannot be read or written .* disk is not full"):
        store.save("a", "s", "mark", make_result())


def test_masks_that_cannot_be_placed_are_named(tmp_path: Path, make_result: MakeResult) -> None:
    store = ResultsStore(tmp_path)
    staged = stage(tmp_path, "a", make_result())
    staged.masks[0].temporary.unlink()
    with pytest.raises(InputError, match="a result cannot be saved"):
        store.commit("a", "s", [("m", staged)])
    assert store.all() == []


def test_commit_takes_results_and_failures_together(tmp_path: Path, make_result: MakeResult) -> None:
    store = ResultsStore(tmp_path)
    store.commit("a", "s", [("m", stage(tmp_path, "a", make_result())), ("m", Failure("degraded", "why"))])
    assert [(r.procedure, r.status) for r in store.all()] == [("degraded", "failed"), ("pits", "done")]


def test_another_specimen(tmp_path: Path, make_result: MakeResult) -> None:
    store = ResultsStore(tmp_path)
    store.save("a", "s", "m", make_result())
    store.save_failure("a", "s", "degraded", "m", "why")
    store.assign("a", "t")
    assert {r.specimen for r in store.all()} == {"t"}


def test_it_may_be_read_while_it_is_written(tmp_path: Path, make_result: MakeResult) -> None:
    store = ResultsStore(tmp_path)
    store.save("a", "s", "m", make_result())
    with store._writing() as database:
        database.execute("DELETE FROM result")
        assert len(ResultsStore(tmp_path).all()) == 1
    assert store.all() == []


def test_one_image_is_read_by_itself(tmp_path: Path, make_result: MakeResult) -> None:
    store = ResultsStore(tmp_path)
    assert store.of_image("a.png") == {} and store.entries() == []
    for name in ("a.png", "b.png"):
        store.save(name, "s", f"mark {name}", make_result())
    store.save_failure("a.png", "s", "degraded", "other", "it failed")
    found = store.of_image("a.png")
    assert {p: (r.status, r.fingerprint) for p, r in found.items()} == {
        "pits": ("done", "mark a.png"),
        "degraded": ("failed", "other"),
    }
    assert _comparable(found["pits"]) == _comparable(store.done()[0])
    assert list(found["pits"].tables) == list(store.done()[0].tables)


def test_entries_say_what_there_is_without_reading_it(tmp_path: Path, make_result: MakeResult) -> None:
    store = ResultsStore(tmp_path)
    result = make_result()
    odd = replace(result.source, path='images/"sha256": "' + "f" * 64 + '".png', sha256="ab" * 32)
    store.save("a.png", "s", "one", replace(result, source=odd))
    store.save("b.png", "s", "two", result)
    store.save_failure("b.png", "s", "pits", "three", "it failed")
    first, second = store.entries()
    assert (first.image_id, first.procedure, first.fingerprint, first.status) == (
        "a.png",
        "pits",
        "one",
        "done",
    )
    assert (first.source_sha256, first.version) == ("ab" * 32, result.version)
    assert (second.status, second.fingerprint, second.message) == ("failed", "three", "it failed")
