"""The demo's scripts lie beside its data: their folder is put on the path."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "sample_images"))
