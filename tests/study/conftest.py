"""A small study whose procedures are stand-ins: quick, and as ill-behaved as a test asks for."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from surfscan.study import tasks

STAND_INS = """
import ctypes, os, time
import numpy as np
from surfscan.columns import conform, empty_table
from surfscan.errors import InputError
from surfscan.images import HeightMap
from surfscan.procedures.result import Result

def heights(procedure, image, settings, region=None, datum=None, unexposed=None):
    return Result(
        procedure=procedure, source=image.source, calibration=image.calibration,
        settings=settings.model_dump(mode="json"),
        summary={
            "image_kind": "heightmap",
            "highest_um": float(np.nanmax(image.heights_um)),
            "region_px": None if region is None else int(region.sum()),
            "datum_px": None if datum is None else int(datum.sum()),
            "unexposed": None if unexposed is None else unexposed.source.path,
        },
        tables={"pits": empty_table("pits"), "for_review": empty_table("for_review")}
        if procedure == "pits" else {}, masks={}, warnings=image.warnings,
    )

def measure_texture(image, settings=None, *, region=None):
    return heights("texture", image, settings, region)

def measure_pits(image, settings=None, *, region=None, datum=None, unexposed=None):
    if isinstance(image, HeightMap):
        return heights("pits", image, settings, region, datum, unexposed)
    grey = image.grey
    code = int(grey[0, 0])
    if code == 201:
        raise InputError(image.source.path, "the image has no metal", "Look at it")
    if code == 202:
        raise KeyError("surprise")
    if code == 203:
        os._exit(9)  # as the system's out-of-memory killer would
    if code == 204:
        raise MemoryError
    labels = (grey < 100).astype(np.int32)
    table = empty_table("pits")
    table["label"] = np.array([1], np.int32)
    table = {name: column if len(column) else np.zeros(1, column.dtype) for name, column in table.items()}
    table["area_px"] = np.array([labels.sum()], np.int64)
    seen = np.ones(grey.shape, bool) if region is None else region
    return Result(
        procedure="pits", source=image.source, calibration=image.calibration,
        settings=settings.model_dump(mode="json"),
        summary={"pit_count": int(labels.sum()), "field_area_px": int(seen.sum())},
        tables={"pits": conform("pits", table), "for_review": empty_table("for_review")},
        masks={"pits": labels, "region": seen}, warnings=image.warnings,
    )

def part(procedure, image, settings, region, **others):
    return Result(
        procedure=procedure, source=image.source, calibration=image.calibration,
        settings=settings.model_dump(mode="json"),
        summary={
            "drawn_width_um": settings.drawn_width_um,
            "cut_angle_deg": getattr(settings, "cut_angle_deg", None),
            "region_px": None if region is None else int(region.sum()),
        } | {role: other.source.path for role, other in others.items() if other is not None},
        tables={}, masks={}, warnings=image.warnings,
    )

def measure_struts(image, settings=None, *, region=None, before=None, side_view=None, thickness_map=None):
    assert thickness_map is None or isinstance(thickness_map, HeightMap)
    return part("struts", image, settings, region, before=before, side_view=side_view,
                thickness_map=thickness_map)

def measure_section(image, settings=None, *, region=None, before=None, twin=None):
    return part("section", image, settings, region, before=before, twin=twin)

def measure_degraded(image, settings=None, *, region=None):
    if int(image.grey[0, 0]) == 205:
        raise InputError(image.source.path, "one class only", "Look at it")
    classes = np.where(image.grey < 120, 2, 0).astype(np.uint8)
    return Result(
        procedure="degraded", source=image.source, calibration=image.calibration,
        settings=settings.model_dump(mode="json"),
        summary={"degraded_area_fraction": float((classes == 2).mean())}, masks={"degraded": classes},
    )
"""

MANIFEST = """
title = "Stand-in study"
[[group]]
name = "g"
[[specimen]]
id = "s"
group = "g"
exposure_h = 168
"""


@pytest.fixture
def stand_ins(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Put the stand-ins in place of the real procedures, in worker processes too."""
    folder = tmp_path_factory.mktemp("stand_ins")
    (folder / "surfscan_stand_ins.py").write_text(STAND_INS)
    monkeypatch.syspath_prepend(folder)
    for name in tasks.PROCEDURES:
        monkeypatch.setitem(tasks.PROCEDURES, name, f"surfscan_stand_ins:measure_{name}")


def _write_heights(path: Path, seed: int = 0, size: int = 40, pixel_size_um: float | None = 0.5) -> None:
    """A height map in µm as 32-bit float TIFF, with its scale unless that is None."""
    import tifffile

    heights = np.random.default_rng(seed).normal(0, 0.1, (size, size)).astype(np.float32)
    per_cm = 1e4 / pixel_size_um if pixel_size_um else 0
    scale = {"resolution": (per_cm, per_cm), "resolutionunit": "CENTIMETER"} if per_cm else {}
    path.parent.mkdir(parents=True, exist_ok=True)
    tifffile.imwrite(path, heights, **scale)


@pytest.fixture
def write_heights() -> Callable[..., None]:
    """`_write_heights`, for tests that need a height map."""
    return _write_heights


def _write_image(path: Path, seed: int = 0, code: int = 200, size: int = 40) -> None:
    """A grey picture with some dark pixels; the first pixel's value tells a stand-in how to behave."""
    import cv2

    pixels = np.random.default_rng(seed).integers(90, 200, (size, size)).astype(np.uint8)
    pixels[0, 0] = code
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(cv2.imencode(".png", pixels)[1].tobytes())


@pytest.fixture
def write_image() -> Callable[..., None]:
    """`_write_image`, for tests that add or change a picture."""
    return _write_image


@pytest.fixture
def make_study(tmp_path: Path) -> Callable[..., Path]:
    """A folder with a manifest and one picture for each (name, code); `extra` goes into its [[image]]."""

    def make(images: dict[str, int], extra: dict[str, str] | None = None, head: str = "") -> Path:
        text = MANIFEST + head
        for number, (name, code) in enumerate(images.items()):
            _write_image(tmp_path / "images" / name, number, code)
            text += f'[[image]]\nfile = "images/{name}"\nspecimen = "s"\n{(extra or {}).get(name, "")}\n'
        (tmp_path / "study.toml").write_text(text)
        return tmp_path

    return make


RATE_MANIFEST = """
title = "Rates"
[settings.exposure]
temperature_degC = 37
temperature_tolerance_degC = 0.5
[[material]]
name = "AZ31"
composition = { Mg = 95.9, Al = 3.0, Zn = 1.0 }
density_g_per_cm3 = 1.78
source = "invented"
[[group]]
name = "g"
[[specimen]]
id = "P1"
group = "g"
exposure_h = 48
material = "AZ31"
wetted_surface = { shape = "plate", length_mm = [20, 0.05], width_mm = 10, thickness_mm = 2 }
[[specimen]]
id = "E1"
group = "g"
material = "AZ31"
surface_area_mm2 = 100
surface_area_relative_uncertainty = 0.02
[[sweep]]
file = "rates/sweep.csv"
specimen = "E1"
reference = "SCE"
twin_of = "P1"
[[weighing]]
specimen = "P1"
before_g = 1.2
cleaned_g = [1.19, 1.1899, 1.1898, 1.1897]
cleaning = "chromic acid, 1 min each"
[[gas]]
specimen = "P1"
file = "rates/gas.csv"
temperature_degC = 25
[[log]]
file = "rates/log.csv"
specimens = ["P1"]
acid_mol_per_L = 0.1
checks = [{ instrument = "balance", known_before = 0, read_before = 0.0, known_after = 0, read_after = 0.1 }]
"""


def _write_sweep(path: Path) -> None:
    """A polarization curve of 10 µA on 1 cm², 100 and 150 mV a decade, with 1 % noise."""
    potential = np.arange(-0.25, 0.2501, 0.001)
    current = 10e-6 * (10 ** (potential / 0.1) - 10 ** (-potential / 0.15))
    current *= 1 + 0.01 * np.random.default_rng(0).standard_normal(len(potential))
    rows = [f"{e - 1.5:.4f},{i:.6e}" for e, i in zip(potential, current, strict=True)]
    path.write_text("\n".join(["Potential (V),Current (A)", *rows]) + "\n")


def _write_log(path: Path, hours: int = 40) -> None:
    """A reading every ten minutes: temperature in range but for two hours, acid as a total."""
    rows = ["Time (h),Temperature (°C),Acid total (mL)"]
    for k in range(6 * hours + 1):
        warm = 38.0 if 60 <= k < 72 else 37.0 + 0.01 * (k % 7)
        rows.append(f"{k / 6:.4f},{warm:.2f},{0.02 * k:.2f}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


@pytest.fixture
def rate_study(tmp_path: Path) -> Path:
    """A study with one sweep, weighing, gas and log each."""
    (tmp_path / "study.toml").write_text(RATE_MANIFEST)
    (tmp_path / "rates").mkdir()
    _write_sweep(tmp_path / "rates/sweep.csv")
    (tmp_path / "rates/gas.csv").write_text("Hours;Volume (mL)\n0;0\n20;2,5\n48;6,5\n")
    _write_log(tmp_path / "rates/log.csv")
    return tmp_path


@pytest.fixture
def write_log() -> Callable[..., None]:
    """`_write_log`, for tests that change it."""
    return _write_log
