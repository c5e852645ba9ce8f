"""How long `surfscan exposure` takes on weeks of log at 10 Hz, and how much memory.

What: wall time, processor time and peak resident memory of the whole command, start-up included, from CSV
to JSON. How: --repeat runs, one after the other, as child processes; the minimum counts; memory is the
largest of all, sampled every 5 ms. Then the same on one processor, where the system can bind a process to
one. Beside it the plain way: numpy.loadtxt over the six numeric columns alone, without times, for as many
rows as --plain-rows, its time scaled up. On what: a seeded log of --rows rows: ISO time, temperature, pH,
flow, pressure before and after, acid; about 60 bytes a row.

    python benchmarks/bench_log.py [--rows 10000000] [--repeat 3] [--plain-rows 500000]
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import numpy as np
import psutil

HEADING = "time,temperature (°C),pH,flow (mL/min),p before (kPa),p after (kPa),acid (mL)\n"
SETTINGS = """\
[exposure]
temperature_degC = 37
temperature_tolerance_degC = 1
pH = 7.4
pH_tolerance = 0.2
flow_mL_per_min = 100
flow_tolerance_mL_per_min = 5
"""
_PART = 100_000


@dataclass(frozen=True)
class Run:
    """One run of a command."""

    seconds: float
    processor_seconds: float
    peak_mb: float


def write_log(path: Path, rows: int) -> None:
    """A log of 10 Hz whose resistance rises by a third, with a warm stretch and a gap."""
    rng = np.random.default_rng(1)
    start = np.datetime64("2001-03-01T08:00:00.000", "ms")
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write(HEADING)
        for at in range(0, rows, _PART):
            k = np.arange(at, min(at + _PART, rows))
            times = start + 100 * k + np.where(k > rows // 2, 1_800_000, 0)
            warm = np.where((k > 0.3 * rows) & (k < 0.31 * rows), 2.0, 0.0)
            columns = (
                np.datetime_as_string(times, unit="ms").tolist(),
                37 + warm + rng.normal(0, 0.05, len(k)),
                7.4 + rng.normal(0, 0.01, len(k)),
                100 + rng.normal(0, 0.5, len(k)),
                12 + 3 * k / rows + rng.normal(0, 0.05, len(k)),
                2 + rng.normal(0, 0.05, len(k)),
                np.floor(k / 3000) * 0.05,
            )
            lines = map("%s,%.2f,%.3f,%.1f,%.2f,%.2f,%.3f".__mod__, zip(*columns, strict=True))
            file.write("\n".join(lines) + "\n")


def run(command: list[str], one_processor: bool = False) -> Run:
    """Run a command to its end; raises if it fails."""
    with tempfile.TemporaryFile() as complaints:
        started, peak, processor = time.perf_counter(), 0, 0.0
        process = psutil.Popen(command, stdout=subprocess.DEVNULL, stderr=complaints)
        if one_processor:
            process.cpu_affinity(process.cpu_affinity()[:1])
        while process.poll() is None:
            try:
                peak = max(peak, process.memory_info().rss)
                spent = process.cpu_times()
                processor = max(processor, spent.user + spent.system)
            except psutil.NoSuchProcess:
                continue  # it ended between asking whether and asking how much
            time.sleep(0.005)
        seconds = time.perf_counter() - started
        if process.returncode != 0:
            complaints.seek(0)
            raise RuntimeError(f"{command[0]} failed: {complaints.read().decode(errors='replace')}")
    return Run(seconds, processor, peak / 1e6)


def plain_seconds(path: Path, rows: int) -> float:
    """Seconds for each row of the plain way."""
    started = time.perf_counter()
    np.loadtxt(path, delimiter=",", skiprows=1, usecols=range(1, 7), max_rows=rows, encoding="utf-8")
    return (time.perf_counter() - started) / rows


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rows", type=int, default=10_000_000)
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--plain-rows", type=int, default=500_000)
    chosen = parser.parse_args()
    print(f"Python {platform.python_version()}, numpy {version('numpy')}, {os.cpu_count()} processors")
    with tempfile.TemporaryDirectory() as folder:
        log, settings, out = (Path(folder) / name for name in ("log.csv", "settings.toml", "out.json"))
        settings.write_text(SETTINGS, encoding="utf-8")
        write_log(log, chosen.rows)
        print(f"{chosen.rows:,} rows, {log.stat().st_size / chosen.rows:.1f} bytes a row")
        command = [sys.executable, "-m", "surfscan", "exposure", str(log), "--settings", str(settings)]
        command += ["--json", str(out), "--material", "Mg", "--area-cm2", "10", "--acid-mol-per-l", "0.1"]
        plain, runs = [], []
        for _ in range(chosen.repeat):
            runs.append(run(command))
            plain.append(plain_seconds(log, min(chosen.plain_rows, chosen.rows)))
        best = min(runs, key=lambda one: one.seconds)
        print(
            f"surfscan exposure: {best.seconds:.1f} s ({min(r.processor_seconds for r in runs):.1f} s of "
            f"processor), {max(r.peak_mb for r in runs):.0f} MB"
        )
        if hasattr(psutil.Process, "cpu_affinity"):
            alone = min(
                (run(command, one_processor=True) for _ in range(chosen.repeat)), key=lambda r: r.seconds
            )
            print(f"on one processor: {alone.seconds:.1f} s ({alone.processor_seconds:.1f} s of processor)")
        print(f"numpy.loadtxt of the numbers alone: {min(plain) * chosen.rows:.0f} s, scaled up")
        found = json.loads(out.read_text(encoding="utf-8"))["summary"]
        print(f"verdict: {found['verdict']}; {found['excursion_count']} excursion, {found['gap_count']} gap")


if __name__ == "__main__":
    main()
