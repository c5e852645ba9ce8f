"""Accuracy and speed of everything that is measured, each with its defaults: python -m benchmarks."""

import subprocess
import sys
from pathlib import Path

for script, *options in (
    ("bench_accuracy.py",),
    ("bench_speed.py",),
    ("bench_height_pits.py",),
    ("bench_height_pits.py", "--speed"),
    ("bench_surfaces.py",),
    ("bench_texture.py",),
    ("bench_bars.py",),
    ("bench_bar_reading.py",),
    ("bench_struts.py",),
    ("bench_sections.py",),
    ("bench_sweeps.py",),
    ("bench_log.py",),
    ("bench_page.py",),
):
    subprocess.run([sys.executable, str(Path(__file__).with_name(script)), *options], check=True)
