"""Kill `surfscan measure` at random moments, start it again, and compare with an undisturbed run.

    python benchmarks/soak_kill.py [--rounds 20] [--images 24] [--seed 0]

Every round kills one study several times, at moments drawn at random and at the most delicate ones
(a mask half written, a transaction open), until it is through. After each kill every stored result must
be whole; at the end all tables, summaries and masks must be those of the undisturbed run, to the bit.
"""

from __future__ import annotations

import argparse
import random
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from surfscan.store.results import ResultsStore

Trigger = Callable[[Path], bool]


def make_study(folder: Path, images: int, size: int, seed: int) -> Path:
    """A study of invented pictures with dark round spots, half of them with a stated scale."""
    rng = np.random.default_rng(seed)
    rows, cols = np.mgrid[:size, :size]
    text = 'title = "Kill test (invented)"\n[[group]]\nname = "g"\n'
    folder.mkdir(parents=True)
    for number in range(images):
        grey = 170 + rng.normal(0, 3, (size, size)) + 10 * cols / size
        for _ in range(12):
            row, col, radius = rng.uniform(10, size - 10), rng.uniform(10, size - 10), rng.uniform(3, 8)
            grey[np.hypot(rows - row, cols - col) < radius] -= 70
        content = cv2.imencode(".png", np.clip(grey, 0, 255).astype(np.uint8))[1].tobytes()
        (folder / f"s{number:02}_a.png").write_bytes(content)
        text += f'[[specimen]]\nid = "s{number:02}"\ngroup = "g"\nexposure_h = 168\n'
        text += f'[[image]]\nfile = "s{number:02}_a.png"\nspecimen = "s{number:02}"\n'
        text += "pixel_size_um = 0.5\n" if number % 2 else ""
    (folder / "study.toml").write_text(text)
    return folder


def change_settings(folder: Path) -> None:
    """Other settings of both procedures, so that everything is measured again."""
    manifest = folder / "study.toml"
    changed = "[settings.pits]\nmin_diameter_px = 9\n[settings.degraded]\nclasses = 3\n"
    manifest.write_text(manifest.read_text() + changed)


def measure(folder: Path, workers: int, kill_when: Trigger | None = None) -> bool:
    """Run the command; whether it came to its end before `kill_when` said to kill it."""
    command = [sys.executable, "-m", "surfscan", "measure", str(folder), "--workers", str(workers)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        while kill_when is not None and process.poll() is None:
            if kill_when(folder):
                process.kill()  # SIGKILL, and its like on Windows: nothing in the process can react
                process.wait()
                return False
        said = process.communicate()[0]
    if process.returncode != 0:
        raise RuntimeError(f"measure ended with {process.returncode}: {said}")
    return True


def after(seconds: float) -> Trigger:
    """Kill after a delay."""
    end = time.monotonic() + seconds
    return lambda folder: time.monotonic() >= end


def while_writing_mask(folder: Path) -> bool:
    """Kill as soon as a mask is half written."""
    return any((folder / "masks").glob("*.part"))


def while_committing(folder: Path) -> bool:
    """Kill as soon as a transaction is open."""
    return (folder / "results.sqlite-journal").exists()


def after_some_commits(count: int) -> Trigger:
    """Kill while the transaction after `count` others is open."""
    seen = {"journal": False, "commits": 0}

    def trigger(folder: Path) -> bool:
        journal = while_committing(folder)
        seen["commits"] += seen["journal"] and not journal
        seen["journal"] = journal
        return journal and seen["commits"] >= count

    return trigger


def snapshot(folder: Path) -> dict[tuple[str, str], Any]:
    """All that is stored, down to the bytes, except when it was measured; raises where a mask is damaged."""
    store = ResultsStore(folder)
    found: dict[tuple[str, str], Any] = {}
    for result in store.all():
        if faults := result.mask_faults():
            raise AssertionError(f"{result.image_id}: {faults}")
        found[result.image_id, result.procedure] = (
            result.specimen,
            result.status,
            result.message,
            result.fingerprint,
            result.source,
            result.calibration,
            dict(result.settings),
            dict(result.summary),
            result.warnings,
            result.version,
            dict(result.mask_sha256),
            {name: path.name for name, path in result.mask_paths.items()},
        )
    if store.path.exists():
        with closing(sqlite3.connect(store.path)) as database:
            for image, procedure, *table in database.execute("SELECT * FROM data_table ORDER BY 1, 2, 3"):
                found[image, procedure] += tuple(table)
    return found


def files(folder: Path) -> list[str]:
    """Every file of the study's folder."""
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())


def kill_until_through(folder: Path, workers: int, triggers: list[Trigger], allowed: list[dict]) -> int:
    """Kill at every trigger in turn, then let it finish; returns the number of kills.

    After each kill every stored result must equal that of one of the `allowed` snapshots.
    """
    kills = 0
    for trigger in triggers:
        kills += not measure(folder, workers, trigger)
        for key, stored in snapshot(folder).items():
            if all(stored != whole[key] for whole in allowed):
                raise AssertionError(f"{key} is neither the old result nor the new one")
    measure(folder, workers)
    return kills


def compare(folder: Path, undisturbed: Path) -> None:
    """Raise unless both hold the same results and the same files."""
    if snapshot(folder) != snapshot(undisturbed):
        raise AssertionError("the results differ from an undisturbed run")
    if files(folder) != files(undisturbed):
        raise AssertionError(f"the files differ: {set(files(folder)) ^ set(files(undisturbed))}")


def main() -> None:
    """Soak."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--rounds", type=int, default=20)
    parser.add_argument("--images", type=int, default=24)
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    rng = random.Random(given.seed)
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        fresh = make_study(root / "fresh", given.images, 400, given.seed)
        first = Path(shutil.copytree(fresh, root / "first"))
        start = time.monotonic()
        measure(first, 2)
        duration = time.monotonic() - start
        second = Path(shutil.copytree(first, root / "second"))
        change_settings(second)
        measure(second, 2)
        kills = 0
        for round_number in range(given.rounds):
            triggers: list[Trigger] = [
                rng.choice(
                    [
                        after(rng.uniform(0, duration)),
                        while_writing_mask,
                        after_some_commits(rng.randrange(1, 8)),
                    ]
                )
                for _ in range(6)
            ]
            folder = Path(shutil.copytree(rng.choice([fresh, first]), root / f"round-{round_number}"))
            change_settings(folder)
            allowed = [snapshot(first), snapshot(second)]
            kills += kill_until_through(folder, rng.choice([1, 2]), triggers, allowed)
            compare(folder, second)
            shutil.rmtree(folder)
            print(f"round {round_number + 1}: {kills} kills so far, nothing lost", flush=True)


if __name__ == "__main__":
    main()
