"""Work off the screen's thread: the screen stays live, and what goes wrong comes back as an outcome."""

from __future__ import annotations

from collections.abc import Callable, Generator
from inspect import isgeneratorfunction
from typing import Any

from napari.qt.threading import create_worker
from qtpy.QtCore import QObject, Signal, Slot


class _Relay(QObject):
    """Carries what a worker reports over to the screen's thread."""

    told = Signal(object)

    def __init__(self, take: Callable[[Any], object]) -> None:
        super().__init__()
        self._take = take
        self.told.connect(self._pass_on)

    @Slot(object)
    def _pass_on(self, value: Any) -> None:
        self._take(value)


class Job:
    """One piece of work under way.

    Its callbacks run in the screen's thread, exactly one of `returned`, `failed` and `cancelled`, and none
    of them after `cancel` but `cancelled`.
    """

    def __init__(self) -> None:
        self.is_cancelled = False
        self.is_over = False
        self._worker: Any = None
        self._relay: _Relay | None = None

    def cancel(self) -> None:
        """Give the work up: a generator stops at its next yield, and no result is handed over."""
        self.is_cancelled = True
        if self._worker is not None:
            self._worker.quit()


def run(
    function: Callable[..., Any],
    *,
    returned: Callable[[Any], object],
    failed: Callable[[Exception], object],
    cancelled: Callable[[], object] | None = None,
    progressed: Callable[[Any], object] | None = None,
) -> Job:
    """Run a function in a worker thread.

    Parameters
    ----------
    function : callable
        Without arguments, or with one where `progressed` is given: a callable to report with, whose values go
        to `progressed`. A generator function, always without arguments, may be stopped at its yields, and
        what it yields goes to `progressed`. It must not touch layers or widgets.
    returned : callable
        Takes what the function returned.
    failed : callable
        Takes the exception it raised, with its traceback; see `messages.words_for`.
    cancelled : callable, optional
    progressed : callable, optional

    Returns
    -------
    Job
        With `cancel()`.
    """
    job = Job()

    def finish(outcome: tuple[Any, Exception | None] | None) -> None:
        if job.is_over:
            return
        job.is_over = True
        if job.is_cancelled or outcome is None:
            if cancelled is not None:
                cancelled()
            return
        result, error = outcome
        if error is not None:
            failed(error)
        else:
            returned(result)

    def step(value: Any) -> None:
        if progressed is not None and not job.is_cancelled:
            progressed(value)

    if isgeneratorfunction(function):

        def generate() -> Generator[Any, None, tuple[Any, Exception | None]]:
            try:
                return (yield from function()), None
            except Exception as error:
                return None, error

        worker = create_worker(generate, _start_thread=False)
        worker.yielded.connect(step)
    else:
        relay = None if progressed is None else _Relay(step)
        job._relay = relay

        def call() -> tuple[Any, Exception | None]:
            try:
                return (function() if relay is None else function(relay.told.emit)), None
            except Exception as error:
                return None, error

        worker = create_worker(call, _start_thread=False)
    worker.returned.connect(finish)
    worker.finished.connect(lambda: finish(None))  # comes last: nothing was returned where it was given up
    job._worker = worker
    worker.start()
    return job


def run_at_once(
    function: Callable[..., Any],
    *,
    returned: Callable[[Any], object],
    failed: Callable[[Exception], object],
    cancelled: Callable[[], object] | None = None,
    progressed: Callable[[Any], object] | None = None,
) -> Job:
    """The same in the caller's thread, for scripts and tests."""
    job = Job()
    try:
        if isgeneratorfunction(function):
            result = _exhausted(function(), progressed)
        else:
            result = function() if progressed is None else function(progressed)
    except Exception as error:
        job.is_over = True
        failed(error)
        return job
    job.is_over = True
    returned(result)
    return job


def _exhausted(steps: Generator[Any, None, Any], progressed: Callable[[Any], object] | None) -> Any:
    while True:
        try:
            value = next(steps)
        except StopIteration as end:
            return end.value
        if progressed is not None:
            progressed(value)
