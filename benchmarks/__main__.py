"""Accuracy, then speed, each with its defaults: python -m benchmarks."""

import subprocess
import sys
from pathlib import Path

for script in ("bench_accuracy.py", "bench_speed.py"):
    subprocess.run([sys.executable, str(Path(__file__).with_name(script))], check=True)
