"""Worker processes that may die without taking the batch with them."""

from __future__ import annotations

import multiprocessing
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from itertools import islice
from typing import TypeVar

from surfscan.errors import InputError
from surfscan.study.threads import one_thread_in_new_processes
from surfscan.study.worker import start_worker

Task = TypeVar("Task")
Answer = TypeVar("Answer")

_MOST_WORKERS = 61  # Windows waits for no more processes at once


def run_in_processes(
    function: Callable[[Task], Answer], tasks: Iterable[Task], workers: int
) -> Generator[tuple[Task, Answer | None], None, None]:
    """Answers as they come, None for a task that killed its process.

    When a process dies (a crash in a library, or the system's out-of-memory killer), nothing tells which
    of the tasks in hand did it. They are then run one at a time, and only one that kills its process
    alone is given up.

    Parameters
    ----------
    function : callable
        Importable by name; it must not raise.
    tasks : iterable
        Taken up only as fast as they are worked off.
    workers : int

    Yields
    ------
    task
    answer : or None

    Raises
    ------
    InputError
        If no worker process can be started at all.
    """
    workers = min(workers, _MOST_WORKERS)
    pending = iter(tasks)
    with one_thread_in_new_processes():
        while True:
            suspects, exhausted = yield from _until_one_dies(function, pending, workers, 2 * workers)
            alone = iter(suspects)
            while True:
                culprits, none_left = yield from _until_one_dies(function, alone, 1, 1)
                yield from ((task, None) for task in culprits)
                if none_left:
                    break
            if exhausted:
                return


def _until_one_dies(
    function: Callable[[Task], Answer], pending: Iterator[Task], workers: int, in_hand: int
) -> Generator[tuple[Task, Answer], None, tuple[list[Task], bool]]:
    """Work off `pending` until it is empty or a process dies.

    Returns the tasks that were in hand when a process died, and whether `pending` is empty.
    """
    first = list(islice(pending, 1))
    if not first:
        return [], True
    context = multiprocessing.get_context("spawn")
    reader, writer = context.Pipe(duplex=False)
    executor = ProcessPoolExecutor(workers, context, start_worker, (reader,))
    running: dict[Future[Answer], Task] = {}
    waiting = deque(first)
    suspects: list[Task] = []
    exhausted = False
    try:
        _require_start(executor)
        while True:
            while not suspects and not exhausted and len(running) < in_hand:
                waiting.extend(islice(pending, 0 if waiting else 1))
                if not waiting:
                    exhausted = True
                    break
                try:
                    running[executor.submit(function, waiting[0])] = waiting[0]
                except BrokenProcessPool:
                    suspects.append(waiting[0])
                waiting.popleft()
            if not running:
                return suspects, exhausted
            for future in wait(running, return_when=FIRST_COMPLETED).done:
                task = running.pop(future)
                try:
                    answer = future.result()
                except BrokenProcessPool:
                    suspects.append(task)
                else:
                    yield task, answer
    except BaseException:
        writer.close()  # ends the workers at once
        raise
    finally:
        executor.shutdown(wait=True, cancel_futures=True)
        writer.close()
        reader.close()


def _require_start(executor: ProcessPoolExecutor) -> None:
    try:
        executor.submit(int).result()
    except BrokenProcessPool as error:
        raise InputError(
            None,
            "worker processes cannot be started",
            "Use one worker; in a script of your own, call it under: if __name__ == '__main__'",
        ) from error
