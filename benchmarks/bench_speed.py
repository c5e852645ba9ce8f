"""How long the whole `surfscan pits` command takes, beside the plain scikit-image way.

What: wall time and peak resident memory of the whole process, start-up included, from TIFF to
table. How: both commands in turn, --repeat times, as child processes; the ratio is that of the
minima; memory is the largest sum over the process and its children, sampled every 5 ms. On what: a
seeded synthetic 4096 x 4096 8-bit TIFF with thousands of pits (machine and library versions are
printed). Then a 512 x 512 picture: the first run with no byte code on disk, as on a new machine,
and one after it.

    python benchmarks/bench_speed.py [--repeat 3] [--size 4096] [--pits 4000]
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import psutil
import synthetic
import tifffile

PLAIN = Path(__file__).with_name("plain.py")


@dataclass(frozen=True)
class Run:
    """One run of a command."""

    seconds: float
    peak_mb: float


def run(command: list[str], extra_environment: dict[str, str] | None = None) -> Run:
    """Run a command to its end; raises if it fails."""
    with tempfile.TemporaryFile() as complaints:
        started, peak = time.perf_counter(), 0
        environment = os.environ | (extra_environment or {})
        process = psutil.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=complaints)
        while process.poll() is None:
            try:
                family = [process, *process.children(recursive=True)]
                peak = max(peak, sum(member.memory_info().rss for member in family))
            except psutil.NoSuchProcess:
                continue  # a member ended between listing and asking
            time.sleep(0.005)
        seconds = time.perf_counter() - started
        if process.returncode != 0:
            complaints.seek(0)
            raise RuntimeError(f"{command[0]} failed: {complaints.read().decode(errors='replace')}")
    return Run(seconds, peak / 1e6)


def surfscan_command() -> str:
    """The installed command of this interpreter's environment."""
    found = shutil.which("surfscan", path=str(Path(sys.executable).parent)) or shutil.which("surfscan")
    if found is None:
        raise RuntimeError("surfscan is not installed: run 'make test' or 'pip install -e .' first")
    return found


def write_picture(path: Path, size: int, pits: int) -> int:
    """A synthetic micrograph as an uncompressed TIFF; returns its true pit count."""
    settings = synthetic.family_settings("clear", 1, (size, size)) | {"n_pits": pits}
    image, truth = synthetic.make_micrograph(1, (size, size), **settings)
    tifffile.imwrite(path, image)
    return int(truth.max())


def compare(folder: Path, size: int, pits: int, repeat: int) -> None:
    """Both commands in turn on one large picture."""
    picture, answer, table = folder / "large.tif", folder / "out.json", folder / "out.csv"
    known = write_picture(picture, size, pits)
    ours: list[Run] = []
    theirs: list[Run] = []
    for _ in range(repeat):
        ours.append(run([surfscan_command(), "pits", str(picture), "--json", str(answer)]))
        theirs.append(run([sys.executable, str(PLAIN), str(picture), str(table)]))
    count = json.loads(answer.read_text(encoding="utf-8"))["summary"]["pit_count"]
    with table.open(newline="") as stream:
        plain_count = sum(1 for _ in csv.reader(stream)) - 1
    print(f"{size} x {size} 8-bit TIFF, {known} pits, {repeat} runs each, in turn")
    for name, runs, pit_count in (("surfscan pits", ours, count), ("plain way", theirs, plain_count)):
        seconds = ", ".join(f"{r.seconds:.2f}" for r in runs)
        print(f"  {name:<14} {seconds} s; peak {max(r.peak_mb for r in runs):.0f} MB; {pit_count} pits")
    ratio = min(r.seconds for r in theirs) / min(r.seconds for r in ours)
    print(f"  surfscan is {ratio:.1f} times faster (ratio of minima)")


def first_run(folder: Path) -> None:
    """A small picture on a machine that has compiled nothing yet, then again."""
    picture, answer = folder / "small.tif", folder / "small.json"
    write_picture(picture, 512, 40)
    command = [surfscan_command(), "pits", str(picture), "--json", str(answer)]
    no_byte_code = {"PYTHONPYCACHEPREFIX": str(folder / "pycache")}
    cold, warm = (run(command, no_byte_code).seconds for _ in range(2))
    print(f"512 x 512: first run, nothing compiled, {cold:.2f} s; second run {warm:.2f} s")


def main() -> None:
    """Parse and run."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--size", type=int, default=4096)
    parser.add_argument("--pits", type=int, default=4000)
    options = parser.parse_args()
    names = ("numpy", "scipy", "scikit-image", "opencv-python-headless")
    print(f"{platform.platform()}, {os.cpu_count()} cores, Python {platform.python_version()}")
    print(", ".join(f"{name} {version(name)}" for name in names))
    with tempfile.TemporaryDirectory() as folder:
        compare(Path(folder), options.size, options.pits, options.repeat)
        first_run(Path(folder))


if __name__ == "__main__":
    main()
