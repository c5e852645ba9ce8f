"""Make the demo study: pictures, true figures and study.toml. All of it is invented.

    python sample_images/make_demo.py [FOLDER]

Needs numpy, OpenCV and tifffile, and the `benchmarks` folder beside this one. The same versions of
these give the same files, byte for byte. Kinds of data that come later get their own module beside
`surfaces.py`, their own random streams (see `specimens.py`) and their own line in `main`; they change
nothing that exists.
"""

from __future__ import annotations

import struct
import sys
import zlib
from pathlib import Path

import cv2
import numpy as np
import tifffile

sys.path.insert(0, str(Path(__file__).resolve().parent))

from specimens import COATED, REFERENCE, UNCOATED, Specimen, specimens
from surfaces import Field, paint

HERE = Path(__file__).resolve().parent
SHAPE = (480, 640)
OBJECTIVE_A_UM, OBJECTIVE_B_UM = 0.5, 0.6
DRAWN = {"surface_area_mm2": 412.0, "drawn_strut_width_um": 400.0, "drawn_thickness_um": 300.0}


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


def _tiff(picture: np.ndarray, name: str, pixel_size_um: float) -> bytes:
    from io import BytesIO

    buffer = BytesIO()
    options: dict[str, object] = {"compression": "adobe_deflate", "predictor": True, "metadata": None}
    if name.endswith(".ome.tif"):
        rows, cols = picture.shape
        options["description"] = (
            '<?xml version="1.0" encoding="UTF-8"?>'
            '<OME xmlns="http://www.openmicroscopy.org/Schemas/OME/2016-06"><Image ID="Image:0">'
            '<Pixels ID="Pixels:0" DimensionOrder="XYCZT" Type="uint8" SizeC="1" SizeT="1" SizeZ="1" '
            f'SizeX="{cols}" SizeY="{rows}" PhysicalSizeX="{pixel_size_um}" PhysicalSizeXUnit="µm" '
            f'PhysicalSizeY="{pixel_size_um}" PhysicalSizeYUnit="µm"><TiffData/></Pixels></Image></OME>'
        ).encode()
    else:
        per_cm = 1e4 / pixel_size_um
        options |= {"resolution": (per_cm, per_cm), "resolutionunit": "CENTIMETER"}
    tifffile.imwrite(buffer, picture, software="", **options)
    return buffer.getvalue()


HEADER = """\
# The demo study. All data invented; made by make_demo.py, true figures in truth.csv.
title = "Mesh plates in buffered saline at 37 °C, 7 to 28 days"
note = "All data invented. No real material, part or laboratory is shown."

[[material]]
name = "Mg-2Zn"
density_g_per_cm3 = 1.78
source = "invented"

[[material]]
name = "316L"
density_g_per_cm3 = 7.98
source = "common handbook value, from memory"
"""


def manifest(all_specimens: list[Specimen], pictures: list[tuple[Field, str]]) -> str:
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
        blocks.append("\n".join(lines) + "\n")
    for field, name in pictures:
        lines = ["[[image]]", f'file = "images/{name}"', f'specimen = "{field.specimen.id}"']
        lines += ['shows = "surface"', f'condition = "{field.condition}"']
        if field.condition == "cleaned":
            lines.append('cleaning = "loose product rinsed off with ethanol; adherent film left"')
        lines.append(f'field_choice = "{"worst_seen" if field.worst_seen else "systematic"}"')
        if name.endswith(".jpg"):
            lines.append(f"pixel_size_um = {field.pixel_size_um}")
        blocks.append("\n".join(lines) + "\n")
    return "\n".join(blocks)


def main(folder: Path = HERE) -> None:
    """Write the whole study into `folder`."""
    (folder / "images").mkdir(parents=True, exist_ok=True)
    pictures = fields()
    truth = ["image,figure,true_value"]
    for field, name in pictures:
        picture, figures = paint(field)
        (folder / "images" / name).write_bytes(encode(picture, name, field.pixel_size_um))
        truth += [f"images/{name},{figure},{value:.6g}" for figure, value in figures.items()]
    (folder / "truth.csv").write_bytes(("\n".join(truth) + "\n").encode())
    (folder / "study.toml").write_bytes(manifest(specimens(), pictures).encode())


if __name__ == "__main__":
    main(*(Path(argument) for argument in sys.argv[1:2]))
