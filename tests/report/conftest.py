"""A small invented study with results stored as a batch run stores them, but drawn, not measured."""

from __future__ import annotations

import math
import shutil
from pathlib import Path
from runpy import run_path

import cv2
import numpy as np
import pytest

from surfscan.columns import TEXTURE_PARAMETERS, conform, empty_table
from surfscan.estimates import counting
from surfscan.estimates.depths import censored_quantile, deepest
from surfscan.images import Calibration, Source
from surfscan.procedures.result import Result
from surfscan.procedures.settings import DegradedSettings, HeightPitSettings, PitSettings, TextureSettings
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
            mark = fingerprint(image, result.procedure, settings, source.sha256, {})
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


# specimen, group, condition, field choice, depths of its pits in µm (minus: the floor was not measured),
# scale known, original level
HEIGHT_FIELDS = [
    ("A1", "as received", "as_received", "systematic", (), True, "present surface"),
    ("A2", "as received", "as_received", "systematic", (1.0,), True, "present surface"),
    ("A3", "as received", "as_received", "systematic", (1.5,), True, "present surface"),
    ("H1", "uncoated 7 d", "cleaned", "systematic", (4.0, 8.0, 6.0), True, "present surface"),
    ("H1", "uncoated 7 d", "cleaned", "systematic", (5.0, -9.0), True, "present surface"),
    ("H1", "uncoated 7 d", "cleaned", "systematic", (3.0, 7.0, 2.0, 10.0), True, "present surface"),
    ("H1", "uncoated 7 d", "cleaned", "worst_seen", (30.0,), True, "present surface"),
    ("H2", "uncoated 7 d", "cleaned", "systematic", (12.0, 3.0), True, "masked datum"),
    (HOSTILE, "uncoated 7 d", "with_product", "random", (5.0, 2.0), True, "present surface"),
    ("R2", "reference & <b>$x$</b>", "cleaned", "not_stated", (6.0,), False, "present surface"),
]
HEIGHT_SIZE = (200, 240)
ROUGHNESS_UM = 0.1


def write_height_manifest(folder: Path) -> None:
    """study.toml of the height maps, with one picture and one map that is missing."""
    lines = ['title = "Height maps of plates"', 'note = "All data invented."']
    for name in dict.fromkeys(f[1] for f in HEIGHT_FIELDS):
        lines += ["[[group]]", f'name = "{name}"']
        if name.startswith("uncoated"):
            lines.append('baseline = "as received"')
    for specimen, group in dict.fromkeys((f[0], f[1]) for f in HEIGHT_FIELDS):
        lines += ["[[specimen]]", f'id = "{specimen}"', f'group = "{group}"', "surface_area_mm2 = 50.0"]
    for index, (specimen, _, condition, choice, _, scaled, level) in enumerate(HEIGHT_FIELDS):
        lines += ["[[image]]", f'file = "maps/{index:02d}.npy"', f'specimen = "{specimen}"']
        lines += ['shows = "heights"', f'condition = "{condition}"', f'field_choice = "{choice}"']
        if scaled:
            lines.append(f"pixel_size_um = {PIXEL_UM}")
        if level == "masked datum":
            lines.append('datum = "maps/datum.png"')
    lines += ["[[image]]", 'file = "maps/lost.npy"', 'specimen = "A1"', 'shows = "heights"']
    lines += ["[[image]]", 'file = "images/a.png"', 'specimen = "A1"', 'condition = "as_received"']
    lines += ['field_choice = "systematic"']
    (folder / "study.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")


def draw_heights(rng: np.random.Generator, depths: tuple[float, ...]) -> dict[str, np.ndarray]:
    """A tilted rough surface with flat-bottomed pits 20 px wide; floors that were not measured are holes."""
    rows, cols = HEIGHT_SIZE
    heights = rng.normal(0, ROUGHNESS_UM, HEIGHT_SIZE) + np.linspace(0, 3, cols)
    labels = np.zeros(HEIGHT_SIZE, np.int32)
    for label, depth in enumerate(depths, start=1):
        cv2.circle(labels, (20 + 40 * ((label - 1) % 5), 20 + 40 * ((label - 1) // 5)), 10, label, -1)
        heights[labels == label] -= abs(depth)
        if depth < 0:
            floor = np.zeros(HEIGHT_SIZE, np.uint8)
            cv2.circle(floor, (20 + 40 * ((label - 1) % 5), 20 + 40 * ((label - 1) // 5)), 5, 1, -1)
            heights[floor > 0] = np.nan
    heights[rows - 30 :, cols - 40 :] = np.nan
    return {"heights": heights.astype(np.float32), "pits": labels}


def height_pit_table(labels: np.ndarray, depths: tuple[float, ...], scaled: bool) -> dict[str, np.ndarray]:
    """Pits of a height map with the columns that the report reads."""
    table = pit_table(labels, "pits", scaled)
    signed = np.array(depths, dtype=float)
    table |= {
        "depth_um": np.abs(signed),
        "depth_is_lower_bound": signed < 0,
        "depth_uncertainty_um": np.full(len(signed), 0.1),
        "volume_um3": np.abs(signed) * table["area_um2"],
        "deepest_row_px": np.array([np.nonzero(labels == n)[0].mean() for n in table["label"]]),
        "deepest_col_px": np.array([np.nonzero(labels == n)[1].mean() for n in table["label"]]),
        "near_limit": np.full(len(signed), "", "U1"),
    }
    return conform("pits", table)


def height_pit_result(source: Source, drawn: dict[str, np.ndarray], field: tuple) -> Result:
    """A pits result of a height map in the shape the procedure gives."""
    _, _, _, _, depths, scaled, level = field
    pits = height_pit_table(drawn["pits"], depths, scaled)
    base = pit_result(source, {**drawn, "for_review": np.zeros(HEIGHT_SIZE, np.int32)}, scaled)
    top = deepest(pits["depth_um"], pits["depth_is_lower_bound"])
    area_um2 = drawn["pits"].size * PIXEL_UM**2
    volume = float(pits["volume_um3"].sum()) if scaled else None
    known = level != "present surface"
    summary = base.summary | {
        "image_kind": "heightmap",
        "for_review_count": 0,
        "pit_count": len(depths),
        "measured_fraction": 0.975,
        "spike_count": 2,
        "form": "plane",
        "form_text": "plane, tilted 1.43° along x, 0.00° along y",
        "roughness_sq_um": ROUGHNESS_UM,
        "smallest_depth_um": 4 * ROUGHNESS_UM,
        "max_depth_um": top.max_um,
        "max_depth_um_ci95": top.max_um
        and [top.max_um - 0.196, None if top.is_lower_bound else top.max_um + 0.196],
        "max_depth_is_lower_bound": top.is_lower_bound,
        "mean_depth_10_deepest_um": top.mean_um,
        "deepest_count": top.count,
        "mean_depth_10_deepest_is_lower_bound": top.is_lower_bound,
        "depth_p10_um": None,
        "median_depth_um": censored_quantile(pits["depth_um"], pits["depth_is_lower_bound"], 0.5),
        "depth_p90_um": None,
        "lower_bound_depth_count": int(pits["depth_is_lower_bound"].sum()),
        "total_volume_um3": volume,
        "volume_per_area_um": None if volume is None else volume / area_um2,
        "original_level": level,
        "mean_penetration_um": 2.0 if known else None,
        "max_penetration_um": 13.0 if known else None,
        "pitting_factor": 6.5 if known else top.max_um / (volume / area_um2) if volume else None,
        "pitting_factor_denominator": f"mean penetration from the original level ({level})"
        if known
        else "pit volume per area, below the present surface"
        if volume
        else None,
        "g46_depth_class": "below C1 (outside chart)" if depths else None,
    }
    return Result(
        "pits",
        source,
        base.calibration,
        HeightPitSettings().model_dump(),
        summary,
        {"pits": pits, "for_review": empty_table("for_review")},
        {
            "pits": drawn["pits"],
            "for_review": np.zeros(HEIGHT_SIZE, np.int32),
            "region": np.ones(HEIGHT_SIZE, dtype=bool),
        },
        ("Uniform recession cannot be seen on one map.",) if not known else (),
    )


def texture_result(source: Source, field: tuple) -> Result:
    """A texture result in the shape the procedure gives; figures invented."""
    depths, scaled = field[4], field[5]
    sq = 0.1 + 0.05 * len(depths)
    figures = {c.name: 0.5 for c in TEXTURE_PARAMETERS} | {"Sa_um": 0.8 * sq, "Sq_um": sq, "Sdr": 0.02}
    if not scaled:
        figures |= {"Sdr": None, "Sdq": None, "Sal_um": None}
    return Result(
        "texture",
        source,
        Calibration(PIXEL_UM, PIXEL_UM, 0.01, "invented") if scaled else None,
        TextureSettings().model_dump(),
        {
            "image_kind": "heightmap",
            "measured_fraction": 0.975,
            "spike_count": 2,
            "form": "plane",
            "form_text": "plane, tilted 1.43° along x, 0.00° along y",
            "surface": "S-F",
            "s_cutoff_um": None,
            "l_cutoff_um": None,
            "region_area_mm2": None,
            "region_area_px": 48000,
            **figures,
        },
        {},
        {"region": np.ones(HEIGHT_SIZE, dtype=bool)},
    )


def build_height_study(folder: Path) -> Path:
    """Write a study with height maps, one picture and stored results; returns its folder."""
    (folder / "maps").mkdir(parents=True)
    (folder / "images").mkdir()
    write_height_manifest(folder)
    datum = np.zeros(HEIGHT_SIZE, np.uint8)
    datum[-10:] = 255
    (folder / "maps" / "datum.png").write_bytes(cv2.imencode(".png", datum)[1].tobytes())
    study, store = load_study(folder), ResultsStore(folder)
    rng = np.random.default_rng(5)

    def save(image, result: Result) -> None:
        settings = study.settings.of(result.procedure, image.shows)
        hashes = {r: file_sha256(folder / name) for r, name in image.companions().items()}
        mark = fingerprint(image, result.procedure, settings, result.source.sha256, hashes)
        store.save(image.image_id, image.specimen, mark, result)

    for image, field in zip(study.images, HEIGHT_FIELDS, strict=False):
        drawn = draw_heights(rng, field[4])
        path = folder / image.file
        np.save(path, drawn["heights"])
        source = Source(image.file, file_sha256(path), None, "NPY")
        save(image, height_pit_result(source, drawn, field))
        save(image, texture_result(source, field))
    for procedure in ("pits", "texture"):
        store.save_failure("maps/lost.npy", "A1", procedure, "0", "the image lost.npy is missing")
    picture = study.images[-1]
    drawn = draw_field(rng, 3, 0.01)
    path = folder / picture.file
    path.write_bytes(cv2.imencode(".png", drawn["grey"])[1].tobytes())
    source = Source(picture.file, file_sha256(path), None, "PNG")
    save(picture, pit_result(source, drawn, True))
    save(picture, degraded_result(source, drawn, True))
    return folder


@pytest.fixture(scope="session")
def _height_pattern(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_height_study(tmp_path_factory.mktemp("heights") / "study")


@pytest.fixture
def height_folder(tmp_path: Path, _height_pattern: Path) -> Path:
    """A study of height maps of its own for a test to change."""
    return Path(shutil.copytree(_height_pattern, tmp_path / "heights"))


@pytest.fixture(scope="session")
def reported_heights(tmp_path_factory: pytest.TempPathFactory, _height_pattern: Path) -> Path:
    """A study of height maps with its report written, to be read only."""
    from surfscan.report.build import write_report

    folder = Path(shutil.copytree(_height_pattern, tmp_path_factory.mktemp("reported") / "heights"))
    write_report(folder)
    return folder


# specimen, condition, field choice, px lost on the left, at the top, on the right and below of each section,
# what is known of the original; one px is 1 µm
SECTIONS = [
    ("S1", "with_product", "systematic", [(10, 10, 10, 10)], "drawn"),
    ("S1", "with_product", "systematic", [(20, 10, 30, 10), (10, 20, 10, 10)], "drawn"),
    ("S1", "with_product", "worst_seen", [(40, 30, 40, 30)], "drawn"),
    ("S2", "with_product", "systematic", [(12, 12, 12, 12)], "nothing"),
    (HOSTILE, "not_stated", "not_stated", [(8, 8, 8, 8)], "twin"),
    ("F1", "with_product", "systematic", [], "drawn"),
]


def draw_sections(lost: list[tuple[int, int, int, int]]) -> np.ndarray:
    """Sections of 160 by 120 px in a row, product where metal was; without any, a foil from side to side."""
    grey = np.full((180, 220 * max(len(lost), 1)), 40, np.uint8)
    for k, (left, top, right, bottom) in enumerate(lost):
        grey[30:150, 220 * k + 30 : 220 * k + 190] = 120
        grey[30 + top : 150 - bottom, 220 * k + 30 + left : 220 * k + 190 - right] = 210
    if not lost:
        grey[30:150], grey[42:140] = 120, 210
    noise = np.random.default_rng(2).normal(0, 2, grey.shape)
    return np.clip(cv2.GaussianBlur(grey, (0, 0), 0.8) + noise, 0, 255).astype(np.uint8)


@pytest.fixture(scope="session")
def reported_sections(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A study of small sections, measured, with its report written; to be read only."""
    from surfscan.report.build import write_report
    from surfscan.study.batch import measure_study

    folder = tmp_path_factory.mktemp("sections")
    lines = ['title = "Sections"', "[[group]]", 'name = "28 d"']
    for name in dict.fromkeys(f[0] for f in SECTIONS):
        lines += ["[[specimen]]", f'id = "{name}"', 'group = "28 d"']
        if name in ("S1", "F1"):
            lines += ["drawn_strut_width_um = 160.0", "drawn_thickness_um = 120.0"]
    for index, (name, condition, choice, lost, known) in enumerate(SECTIONS):
        (folder / f"{index}.png").write_bytes(cv2.imencode(".png", draw_sections(lost))[1].tobytes())
        lines += ["[[image]]", f'file = "{index}.png"', f'specimen = "{name}"', 'shows = "section"']
        lines += [f'condition = "{condition}"', f'field_choice = "{choice}"']
        lines += ['twin = "twin.png"'] if known == "twin" else ["pixel_size_um = 1.0"]
    (folder / "twin.png").write_bytes(cv2.imencode(".png", draw_sections([(0, 0, 0, 0)]))[1].tobytes())
    (folder / "study.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    measure_study(folder, workers=1)
    write_report(folder)
    return folder


@pytest.fixture
def empty_sides(tmp_path: Path):
    """A study of rates put in by hand, without specimens: `Sides` of sides.py."""
    return run_path(str(Path(__file__).with_name("sides.py")))["Sides"](tmp_path / "sides")


@pytest.fixture
def sides(empty_sides):
    """The same with `nine_plates`."""
    return empty_sides.nine_plates()
