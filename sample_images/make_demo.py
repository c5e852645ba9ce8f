"""Make the demo study: pictures, height maps, sweeps, bath, true figures and study.toml. All is invented.

    python sample_images/make_demo.py [FOLDER]

Needs surfscan, and the `benchmarks` folder beside this one. The same versions of numpy, OpenCV and tifffile
give the same files, byte for byte. Kinds of data that come later get their own module beside `surfaces.py`,
their own random streams (see `specimens.py`) and their own line in `main`; they change nothing that exists.
"""

from __future__ import annotations

import struct
import sys
import zlib
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import tifffile

sys.path.insert(0, str(Path(__file__).resolve().parent))

import bath
import sections
import struts
import sweeps
from heights import HeightField, Measured, measure
from sections import SectionPicture
from specimens import COATED, REFERENCE, UNCOATED, Series, Specimen, specimens
from struts import StrutPicture
from surfaces import Field, paint

from surfscan.loaders.sdf_writer import write_sdf
from surfscan.loaders.x3p_writer import write_x3p

HERE = Path(__file__).resolve().parent
SHAPE = (480, 640)
OBJECTIVE_A_UM, OBJECTIVE_B_UM = 0.5, 0.6
HEIGHT_STEP_UM = 0.01
INVENTED = "All data invented: a demo of surfscan."
MAP_SHAPE, WIDE_MAP_SHAPE, BLOCK_SHAPE = (220, 220), (260, 260), (192, 192)
BLOCK_UM = BLOCK_SHAPE[0] * OBJECTIVE_A_UM
DRAWN = {
    "surface_area_mm2": bath.SURFACE_MM2,
    "drawn_strut_width_um": struts.WIDTH_UM,
    "drawn_thickness_um": struts.THICKNESS_UM,
}
STRUT_VIEWS = {  # rows, columns and pixel size by what is seen
    "strut": ((300, 400), 3.2),
    "side": ((200, 400), 3.2),
    "crossing": ((360, 400), 4.0),
    "mesh": ((440, 480), 10.0),
}
CRITERIA = (
    """[[criterion]]
figure = "least_section_left_fraction"
at_least = 0.4
groups = ["uncoated 14 d", "uncoated 28 d", "phosphate-coated 28 d"]
note = "invented limit: what the part must still carry"
""",
    """[[criterion]]
figure = "mass_loss_rate_mm_per_y"
at_most = 0.5
of = "mean"
groups = ["uncoated 14 d", "uncoated 28 d", "phosphate-coated 14 d", "phosphate-coated 28 d"]
note = "invented limit"
""",
    """[[criterion]]
figure = "max_depth_um"
at_most = 7.0
groups = ["uncoated 28 d", "phosphate-coated 28 d"]
guard_factor = 1.0
note = "invented limit; a floor that was not seen cannot pass"
""",
)
RateEntry = sweeps.CellSweep | bath.Weighing | bath.GasSeries | bath.RigLog
STAGE_SHAPE, STAGE_PIXEL_UM, STAGE_STEP_UM = (96, 160), 6.0, 0.2
SECTION_SHAPE, SECTION_PIXEL_UM = (296, 360), 1.6


def fields() -> list[tuple[Field, str]]:
    """Every picture of a surface with its file name; formats differ as they do in a real folder."""
    out: list[tuple[Field, str]] = []
    for specimen in specimens():
        condition = "cleaned" if specimen.days else "as_received"
        number = int(specimen.id[-1])
        for letter in "abc" if specimen.days else "ab":
            # the second microscope took the 28-day plates and writes OME-TIFF; the first one PNG or JPEG
            if letter == "c":
                pixel_size_um, suffix, colour = OBJECTIVE_A_UM, "jpg", specimen.days == 7
            elif specimen.days == 28 and letter == "b":
                pixel_size_um, suffix, colour = OBJECTIVE_B_UM, "ome.tif", False
            elif specimen.days == 14 and number == 1:
                pixel_size_um, suffix, colour = OBJECTIVE_A_UM, "tif", False
            elif (letter == "a" and specimen.days == 0) or (letter == "b" and number == 2 and specimen.days):
                pixel_size_um, suffix, colour = OBJECTIVE_A_UM, "png", False
            else:
                pixel_size_um, suffix, colour = OBJECTIVE_A_UM, "jpg", specimen.days == 7
            field = Field(specimen, letter, SHAPE, pixel_size_um, colour, condition)
            out.append((field, f"{specimen.id}_{letter}.{suffix}"))
    by_id = {s.id: s for s in specimens()}
    worst = Field(by_id["U28-2"], "w", (600, 800), OBJECTIVE_A_UM, False, "cleaned", worst_seen=True)
    covered = Field(by_id["U14-3"], "p", SHAPE, OBJECTIVE_A_UM, True, "with_product")
    return [*out, (worst, "U28-2_worst.jpg"), (covered, "U14-3_product.jpg")]


def height_fields() -> list[tuple[HeightField, str]]:
    """Every height map with its file name: several formats, as a folder that two microscopes filled.

    The uncoated plates of 28 days have five fields of equal area each, for their deepest pits.
    """
    by_field = {(f.specimen.id, f.letter): f for f, _ in fields()}
    out: list[tuple[HeightField, str]] = []
    for specimen in specimens():
        suffix = "ome.tif" if specimen.series is REFERENCE else "x3p"
        if specimen.series is COATED and specimen.days == 7:
            suffix = "sdf"
        if specimen.series is UNCOATED and specimen.days == 28:
            places = [("a", 144, 64), ("a", 144, 384), ("c", 144, 64), ("c", 144, 384), ("b", 160, 240)]
        else:
            places = [("a", 100, 180)]
        for number, (letter, top, left) in enumerate(places, start=1):
            name = "h" if len(places) == 1 else f"h{number}"
            picture = by_field[specimen.id, letter]
            if len(places) > 1:
                shape = (round(BLOCK_UM / picture.pixel_size_um),) * 2
            else:
                shape = MAP_SHAPE if specimen.loss_um > 1 else WIDE_MAP_SHAPE
            field = HeightField(
                picture,
                name,
                top,
                left,
                shape,
                round_top=specimen.id.endswith("3"),
                has_datum=specimen.id == "C07-2",
                has_unexposed=specimen.id == "U07-1",
            )
            out.append((field, f"{specimen.id}_{name}.{suffix}"))
    return out


def strut_pictures() -> list[tuple[StrutPicture, str]]:
    """Every picture of struts with its file name: one a plate, and a mesh."""
    by_id = {s.id: s for s in specimens()}
    out = []
    for group in ("U00", "U14", "U28", "C00", "C28", "S00", "S28"):
        for plate in (f"{group}-{number}" for number in (1, 2, 3)):
            layout = "crossing" if plate == "U14-2" else "strut"
            picture = StrutPicture(
                by_id[plate],
                layout,
                *STRUT_VIEWS[layout],
                reflected=plate in ("C28-1", "S28-2"),
                with_product=plate == "C28-1",
            )
            out.append((picture, f"{plate}_{layout}.jpg"))
    return [*out, (StrutPicture(by_id["U28-2"], "mesh", *STRUT_VIEWS["mesh"]), "U28-2_mesh.jpg")]


def strut_companions(picture: StrutPicture) -> dict[str, str]:
    """Files that belong to a picture of struts, by their key in study.toml."""
    plate = picture.specimen.id
    if picture.layout in ("crossing", "mesh"):
        return {"before": f"{plate}_{picture.layout}_before.jpg"}
    return {
        "U14-3": {"side_view": "U14-3_side.jpg"},
        "U28-1": {"thickness_map": "U28-1_stage.x3p"},
    }.get(plate, {})


def write_struts(folder: Path, name: str, picture: StrutPicture) -> dict[str, float]:
    """A picture of struts with what belongs to it; gives its true figures."""
    pixels, truth = struts.paint(picture)
    (folder / name).write_bytes(encode_small(pixels))
    for role, file in strut_companions(picture).items():
        if role == "thickness_map":
            heights = struts.stand_on_stage(picture.specimen, STAGE_SHAPE, STAGE_PIXEL_UM, STAGE_STEP_UM)
            write_x3p(
                folder / file,
                heights,
                STAGE_PIXEL_UM,
                data_type="int16",
                z_step_um=STAGE_STEP_UM,
                comment=INVENTED,
            )
        elif role == "before":
            (folder / file).write_bytes(encode_small(struts.paint(replace(picture, unexposed=True))[0]))
        else:
            side = StrutPicture(picture.specimen, "side", *STRUT_VIEWS["side"])
            (folder / file).write_bytes(encode_small(struts.paint(side)[0]))
    return truth


def section_pictures() -> list[tuple[SectionPicture, str]]:
    """Every picture of a polished section with its file name; the coated ones by light but for one."""
    by_id = {s.id: s for s in specimens()}
    rows, cols = SECTION_SHAPE
    out = []
    for group in ("U00", "U14", "U28", "C28"):
        for plate in (f"{group}-{number}" for number in (1, 2, 3)):
            has_strip = plate == "U28-1"
            picture = SectionPicture(
                by_id[plate],
                (rows + sections.STRIP_PX * has_strip, cols),
                SECTION_PIXEL_UM,
                "optical" if plate in ("C28-1", "C28-3") else "backscatter",
                20.0 if plate == "C28-2" else None,
                has_strip,
            )
            out.append((picture, f"{plate}_section.jpg"))
    return out


def write_heights(path: Path, heights_um: np.ndarray, pixel_size_um: float, series: Series) -> None:
    """A height map in the format that its name ends on, in steps of 10 nm (2 to the -7 µm in a TIFF)."""
    steps = np.rint(heights_um / HEIGHT_STEP_UM) * HEIGHT_STEP_UM
    if path.suffix == ".sdf":
        write_sdf(
            path,
            steps,
            pixel_size_um,
            form="binary",
            data_type="int16",
            z_step_um=HEIGHT_STEP_UM,
            trailer=INVENTED,
        )
    elif path.suffix == ".x3p":
        kind = "int32" if series is COATED else "int16"
        write_x3p(path, steps, pixel_size_um, data_type=kind, z_step_um=HEIGHT_STEP_UM, comment=INVENTED)
    else:
        path.write_bytes(
            _tiff((np.rint(heights_um * 128) / 128).astype(np.float32), path.name, pixel_size_um)
        )


def write_map(folder: Path, name: str, field: HeightField, measured: Measured) -> None:
    """A height map with what belongs to it: datum mask and the surface before exposure."""
    series = field.specimen.series
    write_heights(folder / name, measured.heights_um, field.pixel_size_um, series)
    for role, file in companions(field, name).items():
        if role == "datum":
            mask = 255 * measured.datum.astype(np.uint8)
            (folder / file).write_bytes(encode(mask, file, field.pixel_size_um))
        else:
            write_heights(folder / file, measured.unexposed_um, field.pixel_size_um, series)


def companions(field: HeightField, name: str) -> dict[str, str]:
    """Files that belong to a height map, by their key in study.toml."""
    stem, _, suffix = name.partition(".")
    named = {"datum": f"{stem}_datum.png"} if field.has_datum else {}
    return named | ({"unexposed": f"{stem}_unexposed.{suffix}"} if field.has_unexposed else {})


def encode(picture: np.ndarray, name: str, pixel_size_um: float) -> bytes:
    """File content in the format that the name ends on, with the scale where the format can hold it."""
    if name.endswith(".jpg"):
        turned = picture[..., ::-1] if picture.ndim == 3 else picture
        return cv2.imencode(".jpg", turned, [cv2.IMWRITE_JPEG_QUALITY, 88])[1].tobytes()
    if name.endswith(".png"):
        content = cv2.imencode(".png", picture, [cv2.IMWRITE_PNG_COMPRESSION, 9])[1].tobytes()
        per_metre = round(1e6 / pixel_size_um)
        chunk = b"pHYs" + struct.pack(">IIB", per_metre, per_metre, 1)
        chunk = struct.pack(">I", 9) + chunk + struct.pack(">I", zlib.crc32(chunk))
        after_header = 8 + 25
        return content[:after_header] + chunk + content[after_header:]
    return _tiff(picture, name, pixel_size_um)


def encode_small(picture: np.ndarray) -> bytes:
    """A JPEG that takes little room."""
    options = [cv2.IMWRITE_JPEG_QUALITY, 86, cv2.IMWRITE_JPEG_OPTIMIZE, 1]
    return cv2.imencode(".jpg", picture, options)[1].tobytes()


def _tiff(picture: np.ndarray, name: str, pixel_size_um: float) -> bytes:
    from io import BytesIO

    buffer = BytesIO()
    is_map = picture.dtype.kind == "f"
    options: dict[str, object] = {"compression": "adobe_deflate", "predictor": not is_map, "metadata": None}
    if name.endswith(".ome.tif"):
        rows, cols = picture.shape
        options["description"] = (
            '<?xml version="1.0" encoding="UTF-8"?>'
            '<OME xmlns="http://www.openmicroscopy.org/Schemas/OME/2016-06"><Image ID="Image:0">'
            f'<Pixels ID="Pixels:0" DimensionOrder="XYCZT" Type="{"float" if is_map else "uint8"}" '
            'SizeC="1" SizeT="1" SizeZ="1" '
            f'SizeX="{cols}" SizeY="{rows}" PhysicalSizeX="{pixel_size_um}" PhysicalSizeXUnit="µm" '
            f'PhysicalSizeY="{pixel_size_um}" PhysicalSizeYUnit="µm"><TiffData/></Pixels></Image></OME>'
        ).encode()
    else:
        per_cm = 1e4 / pixel_size_um
        options |= {"resolution": (per_cm, per_cm), "resolutionunit": "CENTIMETER"}
    tifffile.imwrite(buffer, picture, software="", **options)
    return buffer.getvalue()


HEADER = """\
# The demo study. All data invented; made by make_demo.py, true figures in truth.csv and truth_rates.csv.
title = "Mesh plates in buffered saline at 37 °C, 7 to 28 days"
note = "All data invented. No real material, part or laboratory is shown."

[[material]]
name = "Mg-2Zn"
density_g_per_cm3 = 1.78
composition = { Mg = 98.0, Zn = 2.0 }
valences = { Mg = 2, Zn = 2 }
source = "invented"

[[material]]
name = "316L"
density_g_per_cm3 = 7.98
source = "common handbook value, from memory"

[settings.struts]  # a crossing looks the same after a quarter turn, a mesh one cell further
before_max_rotation_deg = 20.0
before_max_shift_fraction = 0.1

[settings.immersion]
balance_uncertainty_mg = 0.03
"""


def manifest(
    all_specimens: list[Specimen],
    pictures: list[tuple[Field, str]],
    maps: list[tuple[HeightField, str]],
) -> str:
    """Text of study.toml."""
    blocks = [HEADER]
    for series in (UNCOATED, COATED, REFERENCE):
        own = [s for s in all_specimens if s.series is series]
        for group in dict.fromkeys(s.group for s in own):
            lines = ["[[group]]", f'name = "{group}"']
            if group != own[0].baseline:
                lines.append(f'baseline = "{own[0].baseline}"')
            blocks.append("\n".join(lines) + "\n")
    for s in all_specimens:
        lines = ["[[specimen]]", f'id = "{s.id}"', f'group = "{s.group}"', f"exposure_h = {24.0 * s.days}"]
        lines += [f'material = "{s.series.material}"', *(f"{k} = {v}" for k, v in DRAWN.items())]
        if bath.is_weighed(s):
            lines.append(f"surface_area_relative_uncertainty = {bath.SURFACE_UNCERTAINTY}")
        blocks.append("\n".join(lines) + "\n")
    for field, name in pictures:
        lines = ["[[image]]", f'file = "images/{name}"', f'specimen = "{field.specimen.id}"']
        lines += ['shows = "surface"', *_condition(field.condition)]
        lines.append(f'field_choice = "{"worst_seen" if field.worst_seen else "systematic"}"')
        if name.endswith(".jpg"):
            lines.append(f"pixel_size_um = {field.pixel_size_um}")
        blocks.append("\n".join(lines) + "\n")
    for field, name in maps:
        lines = ["[[image]]", f'file = "heights/{name}"', f'specimen = "{field.specimen.id}"']
        lines += ['shows = "heights"', *_condition(field.picture.condition), 'field_choice = "systematic"']
        if field.has_datum:
            lines.append('procedures = ["pits"]  # the step beside the stripe is no texture')
        lines += [f'{role} = "heights/{file}"' for role, file in companions(field, name).items()]
        blocks.append("\n".join(lines) + "\n")
    for strut, name in strut_pictures():
        lines = [
            "[[image]]",
            f'file = "struts/{name}"',
            f'specimen = "{strut.specimen.id}"',
            'shows = "strut"',
        ]
        lines += _condition("with_product" if strut.with_product else _rinsed(strut.specimen))
        lines += ['field_choice = "systematic"', f"pixel_size_um = {strut.pixel_size_um}"]
        lines += [f'{role} = "struts/{file}"' for role, file in strut_companions(strut).items()]
        blocks.append("\n".join(lines) + "\n")
    for section, name in section_pictures():
        plate = section.specimen
        lines = ["[[image]]", f'file = "sections/{name}"', f'specimen = "{plate.id}"', 'shows = "section"']
        lines += _condition("with_product" if plate.days else "as_received")
        lines += ['field_choice = "systematic"', f"pixel_size_um = {section.pixel_size_um}"]
        if plate.id == "U14-2":
            lines.append('twin = "sections/U00-1_section.jpg"')
        if section.cut_angle_deg is not None:
            lines.append(f"cut_angle_deg = {section.cut_angle_deg}")
        blocks.append("\n".join(lines) + "\n")
    return "\n".join([*blocks, *(entry.entry() for entry in rate_entries()), *CRITERIA])


def rate_entries() -> list[RateEntry]:
    """Everything that gives a rate: sweeps, weighings, gas and the rig log."""
    return [*sweeps.cell_sweeps(), *bath.weighings(), *bath.gas_series(), bath.rig_log()]


def write_rates(folder: Path) -> None:
    """Sweeps, the rig log, and the true figures of everything that gives a rate."""
    truth = ["entry,figure,true_value"]
    for entry in rate_entries():
        if isinstance(entry, sweeps.CellSweep | bath.RigLog):
            path = folder / entry.entry_id
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(entry.text().encode())
        truth += [f"{entry.entry_id},{figure},{value:.5g}" for figure, value in entry.truth().items()]
    (folder / "truth_rates.csv").write_bytes(("\n".join(truth) + "\n").encode())


def _rinsed(specimen: Specimen) -> str:
    return "cleaned" if specimen.days else "as_received"


def _condition(condition: str) -> list[str]:
    lines = [f'condition = "{condition}"']
    if condition == "cleaned":
        lines.append('cleaning = "loose product rinsed off with ethanol; adherent film left"')
    return lines


def main(folder: Path = HERE) -> None:
    """Write the whole study into `folder`."""
    (folder / "images").mkdir(parents=True, exist_ok=True)
    pictures = fields()
    truth = ["image,figure,true_value"]
    for field, name in pictures:
        picture, figures = paint(field)
        (folder / "images" / name).write_bytes(encode(picture, name, field.pixel_size_um))
        truth += [f"images/{name},{figure},{value:.6g}" for figure, value in figures.items()]
    (folder / "heights").mkdir(exist_ok=True)
    maps = height_fields()
    for field, name in maps:
        measured = measure(field)
        write_map(folder / "heights", name, field, measured)
        truth += [f"heights/{name},{figure},{value:.6g}" for figure, value in measured.truth.items()]
    (folder / "struts").mkdir(exist_ok=True)
    for strut, name in strut_pictures():
        figures = write_struts(folder / "struts", name, strut)
        truth += [f"struts/{name},{figure},{value:.6g}" for figure, value in figures.items()]
    (folder / "sections").mkdir(exist_ok=True)
    for section, name in section_pictures():
        pixels, figures = sections.paint(section)
        (folder / "sections" / name).write_bytes(encode_small(pixels))
        truth += [f"sections/{name},{figure},{value:.6g}" for figure, value in figures.items()]
    write_rates(folder)
    (folder / "truth.csv").write_bytes(("\n".join(truth) + "\n").encode())
    (folder / "study.toml").write_bytes(manifest(specimens(), pictures, maps).encode())


if __name__ == "__main__":
    main(*(Path(argument) for argument in sys.argv[1:2]))
