"""Accuracy and speed on pictures, then on height maps, each with its defaults: python -m benchmarks."""

import subprocess
import sys
from pathlib import Path

for script in (
    "bench_accuracy.py",
    "bench_speed.py",
    "bench_height_pits.py",
    "bench_surfaces.py",
    "bench_texture.py",
    "bench_sections.py",
):
    subprocess.run([sys.executable, str(Path(__file__).with_name(script))], check=True)
