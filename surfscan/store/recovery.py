"""Before measuring: a damaged store is set aside whole, and what a kill left behind is tidied away."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from surfscan.errors import InputError
from surfscan.store import masks
from surfscan.store.results import ResultsStore
from surfscan.store.schema import connect


def set_aside_if_damaged(store: ResultsStore) -> str | None:
    """Move a store that cannot be read, database and masks, into a folder of its own.

    Nothing is deleted and nothing repaired: the copy can be opened as a store, or given to SQLite's own
    recovery tools. Call it only while holding the `WriterLock`.

    Parameters
    ----------
    store : ResultsStore

    Returns
    -------
    str or None
        A warning that names the copy; None where the store is sound or there is none yet.

    Raises
    ------
    InputError
        If the database is another program's, of a newer surfscan, or out of reach: none of which is damage.
    """
    fault = _damage(store)
    if fault is None:
        return None
    number = 1
    while (aside := store.folder / f"results-set-aside-{number}").exists():
        number += 1
    (aside / masks.FOLDER).mkdir(parents=True)
    # Masks first: killed in between, the damaged database is still there to be set aside next time.
    for mask in masks.own_files(store.folder):
        mask.rename(aside / masks.FOLDER / mask.name)
    for path in sorted(store.folder.glob(f"{store.path.name}*")):
        path.rename(aside / path.name)
    return (
        f"{store.path.name} is damaged ({fault}). It was set aside with its masks in {aside.name}, and every "
        "image is measured anew. Delete that folder when you no longer need it."
    )


def _damage(store: ResultsStore) -> str | None:
    if not store.path.exists():
        return None
    try:
        with closing(connect(store.path)) as database:
            (verdict,) = database.execute("PRAGMA quick_check(1)").fetchone()
    except sqlite3.OperationalError as error:
        raise InputError(
            store.path, f"the results cannot be opened ({error})", "Check that you may read and write there"
        ) from error
    except sqlite3.DatabaseError as error:
        return str(error)
    if verdict != "ok":
        return " ".join(str(verdict).split())
    try:
        store.done()
    except InputError as error:
        return error.fault
    return None


def tidy(store: ResultsStore) -> list[Path]:
    """Delete what killed runs left in `masks/`: half-written files and masks that no result names.

    A file whose content is not what its name says was changed by somebody and stays, and so does every
    file that the store did not name. Call it only while holding the `WriterLock`.

    Returns
    -------
    list of Path
        What was deleted.
    """
    needed = {path.name for result in store.done() for path in result.mask_paths.values()}
    left = [
        path
        for path in masks.own_files(store.folder)
        if path.name not in needed and path.stem.endswith(f"_{masks.file_sha256(path)[:16]}")
    ]
    left += masks.temporary_files(store.folder)
    for path in left:
        path.unlink(missing_ok=True)
    return left
