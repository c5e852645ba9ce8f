"""What tests of several rooms share: a small picture with known pits."""

import math
import re
import shutil
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from surfscan.corrections.changes import compare_label_images
from surfscan.images import Calibration, Micrograph, Source
from surfscan.measurement.mesh_loss import mesh_loss
from surfscan.measurement.stations import Stations
from surfscan.measurement.strut_faults import Fault
from surfscan.measurement.strut_matching import match_struts
from surfscan.measurement.strut_widths import measure_widths
from surfscan.preparation.registration import Registration
from surfscan.procedures.result import Result
from surfscan.procedures.settings import StrutSettings
from surfscan.procedures.strut_comparison import Comparison
from surfscan.procedures.strut_sections import strut_sections
from surfscan.procedures.strut_summary import strut_summary
from surfscan.procedures.strut_tables import fault_table, station_table, strut_table
from surfscan.procedures.struts import strut_labels
from surfscan.report.build import write_report
from surfscan.report.rate_records import RateRecord, gather_rates
from surfscan.report.records import FieldRecord, gather
from surfscan.segmentation.centrelines import Centrelines
from surfscan.store.masks import file_sha256
from surfscan.store.results import ResultsStore
from surfscan.study.batch import measure_study
from surfscan.study.manifest import load_study
from surfscan.study.reviews import open_for_review, save_review
from surfscan.study.tasks import fingerprint, settings_for

PITS = ((60, 70, 12), (60, 180, 9), (150, 100, 15), (170, 220, 11))
"""Centre row, centre column and radius of each pit, px."""


@pytest.fixture(scope="session")
def pitted() -> np.ndarray:
    """A grey plate of 240 x 300 px with four clear dark pits and a little noise, uint8."""
    rows, cols = np.mgrid[:240, :300]
    grey = np.full(rows.shape, 180.0)
    for row, col, radius in PITS:
        distance = np.hypot(rows - row, cols - col)
        grey -= 120 / (1 + np.exp(2 * (distance - radius)))
    noise = np.random.default_rng(7).normal(0, 3, grey.shape)
    return np.clip(np.rint(grey + noise), 0, 255).astype(np.uint8)


@pytest.fixture(scope="session")
def draw_discs() -> Callable[..., np.ndarray]:
    """Function that draws round dark spots (row, col, radius, contrast) as a contrast image, float32.

    Pixels on a rim are covered in part; then the optics blur everything by `blur` px.
    """

    def draw(
        shape: tuple[int, int], spots: Iterable[tuple[float, float, float, float]], blur: float = 1.0
    ) -> np.ndarray:
        rows, cols = np.mgrid[: shape[0], : shape[1]]
        contrast = np.zeros(shape, np.float32)
        for row, col, radius, strength in spots:
            covered = np.clip(radius - np.hypot(rows - row, cols - col) + 0.5, 0, 1)
            contrast = np.maximum(contrast, strength * covered.astype(np.float32))
        if blur == 0:
            return contrast
        return np.asarray(cv2.GaussianBlur(contrast, (0, 0), blur, borderType=cv2.BORDER_REPLICATE))

    return draw


@pytest.fixture(scope="session")
def draw_section() -> Callable[..., np.ndarray]:
    """Function that draws polished cross-sections as an 8-bit picture.

    Each part is (shape, centre column, centre row, width, height, grey), "rectangle" or "ellipse", later
    parts over earlier ones, read on 4 x 4 points a pixel; then the optics blur and the camera adds noise.
    """

    def draw(
        shape: tuple[int, int],
        parts: Iterable[tuple[str, float, float, float, float, float]],
        *,
        medium: float = 30,
        blur: float = 1.0,
        noise: float = 2.0,
        turn_deg: float = 0.0,
    ) -> np.ndarray:
        rows, cols = (np.mgrid[: shape[0] * 4, : shape[1] * 4] + 0.5) / 4 - 0.5
        grey = np.full(rows.shape, medium, np.float32)
        c, s = np.cos(np.deg2rad(turn_deg)), np.sin(np.deg2rad(turn_deg))
        for kind, col, row, width, height, level in parts:
            u = ((cols - col) * c + (rows - row) * s) / (width / 2)
            v = ((rows - row) * c - (cols - col) * s) / (height / 2)
            inside = np.hypot(u, v) <= 1 if kind == "ellipse" else np.maximum(abs(u), abs(v)) <= 1
            grey[inside] = level
        seen = cv2.resize(grey, shape[::-1], interpolation=cv2.INTER_AREA)
        if blur:
            seen = cv2.GaussianBlur(seen, (0, 0), blur, borderType=cv2.BORDER_REPLICATE)
        seen = seen + np.random.default_rng(5).normal(0, noise, shape)
        return np.clip(np.rint(seen), 0, 255).astype(np.uint8)

    return draw


@pytest.fixture(scope="session")
def draw_bar() -> Callable[..., np.ndarray]:
    """Function that draws a scale bar (its outer edges `col` and `col + length`) with a label into a picture.

    `label` "" draws the bar alone, `length` 0 the label alone; `box` a level behind both. The picture comes
    back changed, a copy; grey stays grey.
    """
    import matplotlib
    from PIL import Image, ImageDraw, ImageFont

    def draw(
        picture: np.ndarray, label: str = "50 µm", *, row: int = 200, col: int = 40, length: int = 120,
        thickness: int = 4, ink: int = 255, box: int | None = 0, size: int = 22,
    ) -> np.ndarray:  # fmt: skip
        path = Path(matplotlib.get_data_path(), "fonts", "ttf", "DejaVuSans.ttf")
        font = ImageFont.truetype(str(path), size)
        out = picture.copy()
        if box is not None:
            out[row - size - 18 : row + thickness + 8, col - 10 : col + max(length, 110) + 10] = box
        out[row : row + thickness, col : col + length] = ink
        image = Image.fromarray(out)
        ImageDraw.Draw(image).text((col + 10, row - size - 12), label, fill=ink, font=font)
        return np.asarray(image).copy()

    return draw


@pytest.fixture(scope="session")
def stations() -> Callable[..., Stations]:
    """Function that makes up stations of struts along rows 100, 200 and so on, one for each array of widths.

    `left` and `right` are added to the edges, out of the strut.
    """

    def make(*widths, pitch=2.0, u=0.1, common=0.1, faults=None, open_width=0.0, left=0.0, right=0.0):
        n = [len(w) for w in widths]
        strut = np.repeat(np.arange(1, len(n) + 1), n)
        s = np.concatenate([(np.arange(k) + 0.5) * pitch for k in n])
        width = np.concatenate(widths).astype(float)
        fault = np.full(len(s), "", "U8") if faults is None else np.asarray(faults, "U8")
        ones = np.ones(len(s))
        row = 100.0 * strut
        return Stations(
            strut=strut,
            s=s,
            row=row,
            col=50 + s,
            normal_deg=90 * ones,
            left_row=row - width / 2 - left,
            left_col=50 + s,
            right_row=row + width / 2 + right,
            right_col=50 + s,
            width=width,
            open_width=np.broadcast_to(open_width, len(s)).astype(float),
            uncertainty=u * ones,
            common_uncertainty=common * ones,
            fault=fault,
            length=np.array(n) * pitch,
            pitch=pitch,
            correlation_length=3.0,
            unit_um=0.5,
        )

    return make


@pytest.fixture(scope="session")
def strut_picture() -> Micrograph:
    """Three dark bars of 20, 30 and 24 px across a light field of 240 x 360 px of 0.5 µm.

    On the upper edge of the second, from column 150 to 210, product of the metal's own grey stands out by up
    to 8 px: a raised cosine about column 180.
    """
    rows, cols = (np.mgrid[: 240 * 4, : 360 * 4] + 0.5) / 4 - 0.5
    metal = np.zeros(rows.shape, bool)
    bump = 4 * (1 + np.cos(np.pi * np.clip((cols - 180) / 30, -1, 1)))
    for row, width, product in ((50, 20, 0.0), (120, 30, bump), (190, 24, 0.0)):
        metal |= (rows >= row - width / 2 - product) & (rows <= row + width / 2)
    cover = metal.reshape(240, 4, 360, 4).mean(axis=(1, 3)).astype(np.float32)
    grey = cv2.GaussianBlur(200 - 160 * cover, (0, 0), 1.0)
    grey = grey + np.random.default_rng(3).normal(0, 2, grey.shape)
    pixels = np.clip(np.rint(grey), 0, 255).astype(np.uint8)
    return Micrograph(pixels, Calibration(0.5, 0.5, 0.005, "stated"), Source("bars.png"))


@pytest.fixture(scope="session")
def solid_of() -> Callable[..., np.ndarray]:
    """Function that draws the silhouette of made-up stations."""

    def draw(of, shape=(500, 400)):
        out = np.zeros(shape, bool)
        for row, col, width in zip(of.row, of.col, of.width, strict=True):
            out[int(row - width / 2) : int(row + width / 2) + 1, int(col) - 1 : int(col) + 2] = True
        return out

    return draw


@pytest.fixture(scope="session")
def strut_result(stations, solid_of) -> Callable[..., Result]:
    """Function that gives a result of struts with made-up widths (px, one array a strut), as measured.

    `before` are widths of the same struts before, and of more that are gone since. Pixels are 0.5 µm.
    """

    def make(
        *widths, source=None, before=(), faults=(), scale=Calibration(0.5, 0.5, 0.005, "stated"),
        shape=(500, 400), station_faults=None, **settings,
    ) -> Result:  # fmt: skip
        after = stations(*widths, faults=station_faults)
        if scale is None:
            after = replace(after, unit_um=math.nan)
        comparison, chosen = None, StrutSettings(**settings)
        if before:
            earlier = stations(*before)
            match = match_struts(earlier, after, lambda r, c: (r, c), solid_of(after, shape))
            width_before = np.full(len(after.s), np.nan)
            there = match.station_after >= 0
            width_before[match.station_after[there]] = match.width_before[there]
            place = Registration(
                np.array([[1.0, 0, 0], [0, 1, 0]]), 0, 1, (0, 0), 1, -1, 1, 0.1, 0.1, 0.01, 0.0
            )
            comparison = Comparison(
                place, match, mesh_loss(match), 0.0, earlier.length, width_before,
                np.full(after.n_struts, 0.05), np.zeros(after.n_struts), np.zeros(after.n_struts),
            )  # fmt: skip
        relative = 0.0 if scale is None else scale.relative_uncertainty
        with_scale, plain = measure_widths(after, relative_scale_uncertainty=relative), measure_widths(after)
        cut, doubts = strut_sections(after, with_scale, comparison, chosen)
        n = after.n_struts
        lines = Centrelines(
            row=after.row, col=after.col, radius=after.width / 2,
            start=np.searchsorted(after.strut, np.arange(1, n + 2)),
            end_kind=np.array([["junction", "frame"]] * n), end_node=np.zeros((n, 2), int),
            junction_row=np.zeros(1), junction_col=np.zeros(1), junction_radius=np.ones(1),
            part=np.ones(n, int),
        )  # fmt: skip
        found = list(faults)
        tables = {
            "struts": strut_table(lines, after, with_scale, plain, found, comparison, cut, chosen, scale),
            "stations": station_table(after, comparison, cut),
            "strut_faults": fault_table(found, after, comparison),
        }
        summary, more = strut_summary(tables, plain, after, comparison, cut, chosen, scale)
        summary |= {"thickness_um": chosen.thickness_um, "polarity": "dark", "pitch_px": chosen.pitch_px}
        solid = solid_of(after, shape)
        return Result(
            "struts", source, scale, chosen.model_dump(mode="json"), summary, tables,
            {"struts": strut_labels(solid, after), "region": np.ones(shape, bool)}, (*doubts, *more),
        )  # fmt: skip

    return make


STRUT_PICTURES = {
    "plain": ([np.full(60, 20.0)], {}),
    "notched": ([np.r_[np.full(30, 20.0), np.full(6, 12.0), np.full(30, 20.0)]], {"thickness_um": 11.0}),
    "worst": ([np.full(60, 10.0)], {}),
    "mesh": ([np.full(60, float(w)) for w in (20, 19, 18, 17, 16)], {"before": [np.full(60, 24.0)] * 6}),
    "broken": (
        [np.full(60, 20.0)] * 2,
        {"faults": [Fault("gap", 1, 2, 150.0, 110.0, 24.0, math.nan, True)]},
    ),
    "unscaled": ([np.full(60, 20.0)], {"scale": None}),
}
"""Pictures of the study of struts: widths of every strut, and what else the result has."""


@pytest.fixture(scope="session")
def strut_study(tmp_path_factory: pytest.TempPathFactory, strut_result, solid_of, stations) -> Path:
    """A small study of struts with results stored as a batch run stores them; to be read only."""
    folder = tmp_path_factory.mktemp("struts") / "study"
    (folder / "struts").mkdir(parents=True)
    lines = ['title = "Struts <7 d>"', 'note = "All data invented."', "[settings.struts]"]
    lines += ["drawn_width_um = 12.0", "drawn_thickness_um = 12.0"]
    for group, members in {
        "as received": ("plain",),
        "bare": ("notched", "mesh", "broken", "unscaled"),
    }.items():
        lines += ["[[group]]", f'name = "{group}"']
        for name in members:
            lines += ["[[specimen]]", f'id = "S <{name}>"', f'group = "{group}"']
    for name in STRUT_PICTURES:
        owner, choice = ("notched", "worst_seen") if name == "worst" else (name, "systematic")
        lines += ["[[image]]", f'file = "struts/{name}.png"', f'specimen = "S <{owner}>"', 'shows = "strut"']
        lines += ['condition = "cleaned"', f'field_choice = "{choice}"']
    (folder / "study.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    study, store = load_study(folder), ResultsStore(folder)
    for image, (widths, more) in zip(study.images, STRUT_PICTURES.values(), strict=True):
        path, shape = folder / image.file, (100 * len(more.get("before", widths)) + 100, 240)
        dark = np.where(solid_of(stations(*widths), shape), 40, 200).astype(np.uint8)
        path.write_bytes(cv2.imencode(".png", dark)[1].tobytes())
        source = Source(image.file, file_sha256(path), None, "PNG")
        result = strut_result(
            *widths, source=source, shape=shape, drawn_width_um=12.0, drawn_thickness_um=12.0, **more
        )
        settings = settings_for(study, image, "struts")
        mark = fingerprint(image, "struts", settings, source.sha256, {})
        store.save(image.image_id, image.specimen, mark, result)
    return folder


@pytest.fixture(scope="session")
def strut_records(strut_study) -> dict[str, FieldRecord]:
    """Pictures of that study with their stored results, by name."""
    records = gather(load_study(strut_study), ResultsStore(strut_study).all())[0]
    return {Path(r.image_id).stem: r for r in records}


@pytest.fixture(scope="session")
def reported_struts(tmp_path_factory: pytest.TempPathFactory, strut_study) -> Path:
    """That study with its report written, to be read only."""
    folder = Path(shutil.copytree(strut_study, tmp_path_factory.mktemp("reported") / "struts"))
    write_report(folder)
    return folder


RATES_MANIFEST = """
title = "Rates <all invented>"
[settings.exposure]
temperature_degC = 37
temperature_tolerance_degC = 0.5
acid_mol_per_L = 0.1
[[material]]
name = "AZ31"
composition = { Mg = 95.9, Al = 3.0, Zn = 1.0 }
density_g_per_cm3 = 1.78
source = "invented"
[[group]]
name = "bare"
[[group]]
name = "steel"
"""
RATE_SPECIMENS = {"U1": "bare", "U2": "bare", "U3": "bare", "E1": "bare", "R1": "steel", "R2": "steel"}


def rates_manifest() -> str:
    """study.toml of a study of rates alone."""
    text = RATES_MANIFEST
    for name, group in RATE_SPECIMENS.items():
        metal, hours = ("AZ31" if group == "bare" else "316L"), (0 if name == "E1" else 48)
        text += (
            f'[[specimen]]\nid = "{name}"\ngroup = "{group}"\nmaterial = "{metal}"\nexposure_h = {hours}\n'
        )
        text += "surface_area_mm2 = 400\nsurface_area_relative_uncertainty = 0.02\n"
    for file, name, more in (
        ("active", "E1", 'twin_of = "U1"\narea_relative_uncertainty = 0.02'),
        ("broken", "R1", "rest_potential_V = -0.19"),
        ("held", "R2", ""),
        ("garbage", "R2", ""),
    ):
        text += f'[[sweep]]\nfile = "{file}.csv"\nspecimen = "{name}"\nreference = "SCE"\n'
        text += f"area_cm2 = 1.0\n{more}\n"
    for name, lost in (("U1", 10.0), ("U2", 12.0), ("U3", 11.0)):
        masses = ", ".join(f"{1 - (lost + 0.3 * k) / 1000:.5f}" for k in range(1, 5))
        text += f'[[weighing]]\nspecimen = "{name}"\nbefore_g = 1.0\ncleaned_g = [{masses}]\n'
        text += 'cleaning = "chromic acid, 1 min each"\n'
    text += '[[weighing]]\nspecimen = "R1"\nbefore_g = 1.0\ncleaned_g = [0.9999]\n'
    text += (
        '[[gas]]\nspecimen = "U1"\nhours = [0, 20, 48]\nvolume_mL = [0, 4.1, 9.2]\ntemperature_degC = 37\n'
    )
    text += '[[gas]]\nspecimen = "R2"\nhours = [0, 48]\nvolume_mL = [0, 0.2]\ntemperature_degC = 37\n'
    log = '[[log]]\nfile = "rig.csv"\nspecimens = ["U1", "U2", "U3"]\nacid_blank_mL_per_day = 0.5\n'
    check = (
        'instrument = "pH probe", known_before = 7, read_before = 7.01, known_after = 7, read_after = 7.05'
    )
    return f"{text}{log}checks = [{{ {check} }}]\n"


def write_rate_files(folder: Path) -> None:
    """An active sweep, two cyclic ones (breakdown at 0.42 V; none up to 0.85 V), a log, a file of words."""
    rng = np.random.default_rng(11)

    def write(name: str, potential: np.ndarray, current_uA: np.ndarray) -> None:
        noisy = current_uA * (1 + 0.01 * rng.standard_normal(len(current_uA)))
        rows = [f"{e:.4f},{i:.6g}" for e, i in zip(potential, noisy, strict=True)]
        (folder / name).write_text("\n".join(["Potential (V),Current (uA)", *rows]) + "\n", encoding="utf-8")

    steps = np.arange(-0.25, 0.2501, 0.002)
    write("active.csv", steps - 1.55, 25 * (10 ** (steps / 0.1) - 10 ** (-steps / 0.15)))
    for name, top, breaks in (("broken.csv", 0.6, True), ("held.csv", 0.85, False)):
        up, back = np.arange(-0.35, top, 0.002), np.arange(top, -0.1, -0.002)
        passive = 0.15 * np.where(up > -0.2, 1 - 10 ** (-(up + 0.2) / 0.06), 1 - 10 ** (-(up + 0.2) / 0.12))
        rise = 0.15 * 10 ** np.clip((up - 0.42) / 0.055, -9, 4) if breaks else 0.0
        open_pits = 240 * 10 ** ((back - top) / (top - 0.02) * 3.05)
        returning = np.where(back > 0.02, open_pits, 0.14) if breaks else np.full(len(back), 0.14)
        write(name, np.r_[up, back], np.r_[passive + rise, returning])
    (folder / "garbage.csv").write_text("no sweep\n", encoding="utf-8")
    lines, dosed = ["Time (h),Temperature (°C),Flow (mL/min),Pressure drop (kPa),Acid total (mL)"], 0.0
    for k in range(6 * 48 + 1):
        dosed += 0.03 - 0.00005 * k
        if 150 < k < 186:
            continue
        warm = (38.0 if 60 <= k < 90 else 37.0) + 0.02 * math.sin(k)
        drop = 3 * (1 + 0.3 * k / 288) + 0.01 * math.cos(k)
        lines.append(f"{k / 6:.4f},{warm:.3f},{12 + 0.01 * (k % 3):.2f},{drop:.3f},{dosed:.4f}")
    (folder / "rig.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


@pytest.fixture(scope="session")
def reported_rates(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A study of sweeps, weighings, gas and a log alone, measured and reported. Read only."""
    folder = tmp_path_factory.mktemp("rates")
    (folder / "study.toml").write_text(rates_manifest(), encoding="utf-8")
    write_rate_files(folder)
    measure_study(folder, workers=1)
    write_report(folder)
    return folder


@pytest.fixture(scope="session")
def rate_records(reported_rates: Path) -> dict[str, RateRecord]:
    """Its entries with their results, by name."""
    stored = list(ResultsStore(reported_rates).all())
    return {r.entry_id: r for r in gather_rates(load_study(reported_rates), stored)}


@pytest.fixture(scope="session")
def changed() -> Callable[..., RateRecord]:
    """Function that gives a record with entries of its summary, and rows of its tables, replaced."""

    def change(record: RateRecord, tables: dict | None = None, **summary: object) -> RateRecord:
        result = replace(
            record.result,
            summary={**record.summary, **summary},
            tables={**record.result.tables, **(tables or {})},
        )
        return replace(record, result=result, _unpacked={})

    return change


@pytest.fixture(scope="session")
def reviewed_folder(tmp_path_factory: pytest.TempPathFactory, pitted: np.ndarray) -> Path:
    """Four pictures with four pits each, measured and corrected, with their report; to be read only.

    "A" rejects pit 1 of a.png and b.png and paints over half of pit 2 of c.png; "B" rejects pits 1 and 2 of
    a.png after that, and accepts b.png as found before. d.png is as found; its scale is confirmed by "A".
    """
    folder = tmp_path_factory.mktemp("reviewed") / "study"
    folder.mkdir()
    text = 'title = "Reviewed plates"\nnote = "All data invented."\n[[group]]\nname = "bare"\n'
    text += "".join(f'[[specimen]]\nid = "{name}"\ngroup = "bare"\n' for name in ("P1", "P2"))
    for name, turned in zip("abcd", (pitted, pitted[::-1], pitted[:, ::-1], pitted[::-1, ::-1]), strict=True):
        (folder / f"{name}.png").write_bytes(cv2.imencode(".png", np.ascontiguousarray(turned))[1].tobytes())
        text += f'[[image]]\nfile = "{name}.png"\nspecimen = "P{1 + (name > "b")}"\nprocedures = ["pits"]\n'
        text += 'condition = "cleaned"\nfield_choice = "systematic"\n'
        text += "" if name == "d" else "pixel_size_um = 0.5\n"
    (folder / "study.toml").write_text(text, encoding="utf-8")
    measure_study(folder, workers=1)
    study = load_study(folder)
    for reviewer, name, rejected in (("B", "b", ()), ("A", "a", (1,)), ("A", "b", (1,)), ("B", "a", (1, 2))):
        opened = open_for_review(study, f"{name}.png")
        labels = opened.automatic["pits"].read_mask("pits")
        mask = np.where(np.isin(labels, rejected), 0, labels)
        said = {
            "changes": compare_label_images(labels, mask).as_dict(),
            "marks": {k: "rejected" if k in rejected else "accepted" for k in range(1, 5)},
        }
        save_review(study, opened, "pits", reviewer=reviewer, reason=f"looked at <{name}>", mask=mask, **said)
    opened = open_for_review(study, "c.png")
    mask = opened.automatic["pits"].read_mask("pits").copy()
    rows, cols = np.nonzero(mask == 2)
    mask[rows[: len(rows) // 2], cols[: len(rows) // 2]] = 0
    save_review(study, opened, "pits", reviewer="A", reason="", mask=mask)
    scale = {"pixel_size_x_um": 0.5, "pixel_size_y_um": 0.5, "relative_uncertainty": 0.02}
    save_review(study, open_for_review(study, "d.png"), "scale", reviewer="A", reason="", edits=scale)
    write_report(folder)
    return folder


@pytest.fixture(scope="session")
def reviewed_records(reviewed_folder: Path) -> list[FieldRecord]:
    """Its pictures."""
    return gather(load_study(reviewed_folder), ResultsStore(reviewed_folder).all())[0]


@pytest.fixture(scope="session")
def page_text():
    """Function that reads the page of a study with its pictures put where the browser puts them."""
    island = re.compile(
        r'<div class="waiting"[^>]*><script type="text/plain">(.*?)</script></div>', re.DOTALL
    )
    return lambda folder: island.sub(r"\1", (folder / "report.html").read_text(encoding="utf-8"))
