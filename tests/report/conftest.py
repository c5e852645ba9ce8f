"""A small invented study with results stored as a batch run stores them, but drawn, not measured."""

from __future__ import annotations

import math
import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest

from surfscan.columns import conform, empty_table
from surfscan.estimates import counting
from surfscan.images import Calibration, Source
from surfscan.procedures.result import Result
from surfscan.procedures.settings import DegradedSettings, PitSettings
from surfscan.store.masks import file_sha256
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study
from surfscan.study.tasks import fingerprint

SIZE = (300, 400)
PIXEL_UM = 0.5
HOSTILE = "X<script>alert(1)</script>"

# specimen, group, condition, field choice, pits, degraded fraction (None: no such procedure), scale known
FIELDS = [
    ("A1", "as received", "as_received", "systematic", 1, 0.01, True),
    ("A2", "as received", "as_received", "systematic", 2, 0.02, True),
    ("A3", "as received", "as_received", "systematic", 0, 0.015, True),
    ("U1", "uncoated 7 d", "cleaned", "systematic", 12, 0.20, True),
    ("U1", "uncoated 7 d", "cleaned", "systematic", 16, 0.24, True),
    ("U1", "uncoated 7 d", "cleaned", "systematic", 14, 0.22, True),
    ("U1", "uncoated 7 d", "cleaned", "worst_seen", 40, 0.60, True),
    ("U2", "uncoated 7 d", "cleaned", "systematic", 20, 0.30, True),
    ("U2", "uncoated 7 d", "cleaned", "random", 24, 0.34, True),
    (HOSTILE, "uncoated 7 d", "with_product", "systematic", 9, 0.41, True),
    ("R1", "reference & <b>$x$</b>", "cleaned", "systematic", 0, None, True),
    ("R2", "reference & <b>$x$</b>", "not_stated", "not_stated", 3, 0.005, False),
]


def write_manifest(folder: Path, fields: list[tuple]) -> None:
    """study.toml of the fields given, plus one image that is missing."""
    lines = ['title = "Plates in saline <7 d>"', 'note = "All data invented."']
    groups = dict.fromkeys(f[1] for f in fields)
    for name in groups:
        lines += ["[[group]]", f'name = "{name}"']
        if name.startswith("uncoated"):
            lines.append('baseline = "as received"')
    for specimen, group in dict.fromkeys((f[0], f[1]) for f in fields):
        hours = {"as": 0.0, "uncoated": 168.0}.get(group.split()[0], 168.0)
        lines += ["[[specimen]]", f'id = "{specimen}"', f'group = "{group}"', f"exposure_h = {hours}"]
    for index, (specimen, _, condition, choice, _, degraded, _) in enumerate(fields):
        lines += ["[[image]]", f'file = "images/{index:02d}.png"', f'specimen = "{specimen}"']
        lines += [f'condition = "{condition}"', f'field_choice = "{choice}"']
        if degraded is None:
            lines.append('procedures = ["pits"]')
    lines += ["[[image]]", 'file = "images/lost.png"', f'specimen = "{fields[0][0]}"']
    (folder / "study.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")


def draw_field(rng: np.random.Generator, pits: int, degraded: float) -> dict[str, np.ndarray]:
    """A grey picture, its pit labels, one feature for review and a degraded band."""
    rows, cols = SIZE
    grey = rng.normal(170, 5, SIZE)
    band = np.zeros(SIZE, np.uint8)
    band[:, : round(cols * degraded)] = 2
    grey[band == 2] -= 50
    labels = np.zeros(SIZE, np.int32)
    places = rng.permutation(8 * 11)[:pits]
    for label, place in enumerate(places, start=1):
        centre = (20 + 36 * int(place % 11), 20 + 36 * int(place // 11))
        cv2.circle(labels, centre, int(rng.integers(3, 14)), label, -1)
    review = np.zeros(SIZE, np.int32)
    cv2.ellipse(review, (cols - 60, rows - 30), (40, 3), 10, 0, 360, 1, -1)
    grey[(labels > 0) | (review > 0)] = 60
    return {
        "grey": np.clip(grey, 0, 255).astype(np.uint8),
        "pits": labels,
        "for_review": review,
        "degraded": band,
    }


def pit_table(labels: np.ndarray, name: str, scaled: bool) -> dict[str, np.ndarray]:
    """The columns the report reads, from a label image; the others stay not-a-number."""
    numbers = np.unique(labels[labels > 0])
    table = {
        c: np.full(len(numbers), np.nan) if v.dtype.kind == "f" else np.zeros(len(numbers), v.dtype)
        for c, v in empty_table(name).items()
    }
    table["label"] = numbers
    table["area_px"] = np.array([np.sum(labels == n) for n in numbers], dtype=int)
    diameter = np.sqrt(4 * table["area_px"] / math.pi)
    unit, step = ("um", PIXEL_UM) if scaled else ("px", 1.0)
    table[f"equivalent_diameter_{unit}"] = diameter * step
    table[f"perimeter_{unit}"] = math.pi * diameter * step
    if scaled:
        table["area_um2"] = table["area_px"] * PIXEL_UM**2
    if name == "pits":
        table["edge_weight"] = np.full(len(numbers), 1.1)
        table["near_limit"] = np.where(numbers % 5 == 1, "contrast", "")
    return conform(name, table)


def pit_result(source: Source, drawn: dict[str, np.ndarray], scaled: bool) -> Result:
    """A pits result in the shape the procedure gives."""
    pits = pit_table(drawn["pits"], "pits", scaled)
    area_px = drawn["pits"].size
    area = area_px * PIXEL_UM**2 * 1e-6 if scaled else area_px * 1e-6
    density = counting.density(pits["edge_weight"], area)
    fraction = float(np.mean(drawn["pits"] > 0))
    known, unknown = ("pit_density_per_mm2", "pit_density_per_mpx")[:: 1 if scaled else -1]
    summary = {
        "pit_count": len(pits["label"]),
        "near_limit_count": int(np.sum(pits["near_limit"] != "")),
        "for_review_count": 1,
        "field_area_mm2": area if scaled else None,
        "field_area_px": area_px,
        known: density.value,
        f"{known}_ci95": list(density.ci95),
        unknown: None,
        f"{unknown}_ci95": None,
        "pitted_area_fraction": fraction,
        "pitted_area_fraction_ci95": [0.5 * fraction, 1.6 * fraction] if fraction else None,
        "smallest_diameter_um": 2.0 if scaled else None,
        "smallest_diameter_px": 4.0,
        "g46_density_class": "above A5 (outside chart)" if scaled else None,
    }
    return Result(
        "pits",
        source,
        Calibration(PIXEL_UM, PIXEL_UM, 0.01, "invented") if scaled else None,
        PitSettings().model_dump(),
        summary,
        {"pits": pits, "for_review": pit_table(drawn["for_review"], "for_review", scaled)},
        {
            "pits": drawn["pits"],
            "for_review": drawn["for_review"],
            "region": np.ones(SIZE, dtype=bool),
        },
        ("The scale is unknown: sizes are given in pixels.",) if not scaled else (),
    )


def degraded_result(source: Source, drawn: dict[str, np.ndarray], scaled: bool) -> Result:
    """A degraded result in the shape the procedure gives."""
    fraction = float(np.mean(drawn["degraded"] == 2))
    return Result(
        "degraded",
        source,
        Calibration(PIXEL_UM, PIXEL_UM, 0.01, "invented") if scaled else None,
        DegradedSettings().model_dump(),
        {
            "degraded_area_fraction": fraction,
            "degraded_area_fraction_ci95": [fraction - 0.004, fraction + 0.006],
            "tarnished_area_fraction": None,
            "region_area_mm2": 0.03 if scaled else None,
            "region_area_px": drawn["degraded"].size,
        },
        {},
        {"degraded": drawn["degraded"], "region": np.ones(SIZE, dtype=bool)},
    )


def build_study(folder: Path, fields: list[tuple]) -> Path:
    """Write a study with images and stored results; returns its folder."""
    (folder / "images").mkdir(parents=True)
    write_manifest(folder, fields)
    study, store = load_study(folder), ResultsStore(folder)
    rng = np.random.default_rng(11)
    for image, (specimen, _, _, _, pits, degraded, scaled) in zip(study.images, fields, strict=False):
        drawn = draw_field(rng, pits, degraded or 0.0)
        path = folder / image.file
        path.write_bytes(cv2.imencode(".png", drawn["grey"])[1].tobytes())
        source = Source(str(path), file_sha256(path), None, "PNG")
        results = [pit_result(source, drawn, scaled)]
        if degraded is not None:
            results.append(degraded_result(source, drawn, scaled))
        for result in results:
            settings = study.settings.of(result.procedure)
            mark = fingerprint(image, result.procedure, settings, source.sha256, None)
            store.save(image.image_id, specimen, mark, result)
    for procedure in ("pits", "degraded"):
        store.save_failure(
            "images/lost.png", fields[0][0], procedure, "0", "the image lost.png is missing <here>"
        )
    return folder


@pytest.fixture(scope="session")
def _pattern_study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_study(tmp_path_factory.mktemp("pattern") / "study", FIELDS)


@pytest.fixture
def study_folder(tmp_path: Path, _pattern_study: Path) -> Path:
    """A study of its own for a test to change."""
    return Path(shutil.copytree(_pattern_study, tmp_path / "study"))


@pytest.fixture(scope="session")
def reported(tmp_path_factory: pytest.TempPathFactory, _pattern_study: Path) -> Path:
    """A study with its report written, to be read only."""
    from surfscan.report.build import write_report

    folder = Path(shutil.copytree(_pattern_study, tmp_path_factory.mktemp("reported") / "study"))
    (folder / "truth.csv").write_text(
        "image,figure,true_value\n"
        + "".join(f"images/{i:02d}.png,pit_count,{f[4]}\n" for i, f in enumerate(FIELDS))
        + "".join(
            f"images/{i:02d}.png,degraded_area_fraction,{f[5] + 0.001}\n" for i, f in enumerate(FIELDS[:10])
        ),
        encoding="utf-8",
    )
    write_report(folder)
    return folder
