"""Work off the screen's thread: one outcome each, in the screen's thread."""

import threading

import pytest
from napari_surfscan.workers import run, run_at_once


class Outcomes:
    """What was called back, and in which thread."""

    def __init__(self):
        self.seen = []
        self.threads = set()

    def keep(self, kind):
        def note(value=None):
            self.threads.add(threading.get_ident())
            self.seen.append((kind, value))

        return note

    def callbacks(self):
        return {name: self.keep(name) for name in ("returned", "failed", "cancelled", "progressed")}


@pytest.fixture
def outcomes():
    return Outcomes()


def test_result_comes_back_in_this_thread(qtbot, outcomes):
    """The work runs elsewhere, its reports and its result arrive here."""
    elsewhere = []

    def work(report):
        elsewhere.append(threading.get_ident())
        report("half")
        return 7

    run(work, **outcomes.callbacks())
    qtbot.waitUntil(lambda: ("returned", 7) in outcomes.seen)
    assert ("progressed", "half") in outcomes.seen
    assert elsewhere != [threading.get_ident()]
    assert outcomes.threads == {threading.get_ident()}


def test_error_comes_back_as_an_outcome(qtbot, outcomes):
    """An exception is handed over with its traceback, and napari raises no notice of its own."""

    def work(report):
        raise KeyError("lost")

    run(work, **outcomes.callbacks())
    qtbot.waitUntil(lambda: bool(outcomes.seen))
    ((kind, error),) = outcomes.seen
    assert kind == "failed"
    assert error.__traceback__ is not None


def test_cancelled_work_hands_over_nothing(qtbot, outcomes):
    """What was given up gives no result, even where it could not be stopped."""
    go = threading.Event()

    def work(report):
        go.wait(5)
        return 7

    job = run(work, **outcomes.callbacks())
    job.cancel()
    go.set()
    qtbot.waitUntil(lambda: bool(outcomes.seen))
    assert outcomes.seen == [("cancelled", None)]


def test_generator_stops_at_its_yield(qtbot, outcomes):
    """A generator is stopped where it yields."""
    steps = []

    def work():
        for k in range(10**6):
            steps.append(k)
            yield k
        return "done"

    job = run(work, **outcomes.callbacks())
    qtbot.waitUntil(lambda: len(steps) > 3)
    job.cancel()
    qtbot.waitUntil(lambda: job.is_over)
    assert outcomes.seen[-1] == ("cancelled", None)
    assert len(steps) < 10**6


def test_generator_that_ends(qtbot, outcomes):
    """A generator left alone returns, and one that breaks says so."""

    def work():
        yield 1
        return 2

    def broken():
        yield 1
        raise ValueError("no")

    run(work, **outcomes.callbacks())
    qtbot.waitUntil(lambda: ("returned", 2) in outcomes.seen)
    run(broken, **outcomes.callbacks())
    qtbot.waitUntil(lambda: outcomes.seen[-1][0] == "failed")


def test_at_once(outcomes):
    """The same without a thread, for scripts."""

    def steps():
        yield 1
        return 2

    def fails(report):
        raise ValueError("no")

    run_at_once(steps, **outcomes.callbacks())
    run_at_once(lambda report: report("r") or 3, **outcomes.callbacks())
    run_at_once(fails, **outcomes.callbacks())
    assert outcomes.seen[:4] == [("progressed", 1), ("returned", 2), ("progressed", "r"), ("returned", 3)]
    assert outcomes.seen[4][0] == "failed"
