"""Valid height files changed at seeded places: a height map or an InputError comes back, soon and cheaply."""

import hashlib
import io
import re
import struct
import time
import tracemalloc
import zipfile

import numpy as np
import pytest
import tifffile

from surfscan import open_image
from surfscan.errors import InputError
from surfscan.loaders.sdf_writer import write_sdf
from surfscan.loaders.x3p_writer import write_x3p

FEW, MANY = 60, 500
SECONDS, BYTES = 1.0, 24e6
EXTREMES = (
    b"0", b"-1", b"1", b"2", b"65535", b"65536", b"4294967295", b"99999999999", b"9" * 30, b"1e400",
    b"-1e308", b"1e-320", b"nan", b"NaN", b"inf", b"-INF", b"0.5", b"", b" ", b"x", b"1,5", b"1e", b"0x10",
    b"\xff", b"1_0",
)  # fmt: skip
PACKED = [
    struct.pack(form, value)
    for form, values in {
        "<H": (0, 1, 0x7FFF, 0xFFFF),
        "<I": (0, 0x7FFFFFFF, 0xFFFFFFFF),
        "<Q": (2**63 - 1, 2**64 - 1),
        "<d": (0.0, -1.0, 1e-320, 1e300, float("nan"), float("inf")),
    }.items()
    for value in values
]
WORDS = (
    b"*",
    b"\n",
    b"\r\n",
    b";",
    b"\t",
    b"<",
    b">",
    b"<a>",
    b"</",
    b"&a;",
    b"\0",
    b"PK\x03\x04",
    b"BAD",
    b"(",
)
NUMBER = re.compile(rb"[-+]?\d+(\.\d*)?([eE][-+]?\d+)?")


@pytest.fixture(scope="module")
def heights():
    """A small surface in µm with a gap, its rows and columns unlike in number."""
    rows, cols = np.mgrid[:18, :23]
    values = np.sin(rows / 3) + 0.02 * cols
    values[5:7, 9] = np.nan
    return values


def grid_text(path, heights):
    np.savetxt(path, heights, fmt="%.6g", delimiter=",")


def points_text(path, heights):
    rows, cols = np.indices(heights.shape)
    np.savetxt(
        path,
        np.column_stack([cols.ravel() * 0.5, rows.ravel() * 0.5, heights.ravel()]),
        fmt="%.6g",
        delimiter="\t",
        header="x [um]\ty [um]\tz [nm]",
        comments="",
    )


def inline_x3p(path, heights):
    """A data list with absolute x and y, as the writer does not write it."""
    write_x3p(path, heights, 0.5)
    with zipfile.ZipFile(path) as file:
        text = file.read("main.xml").decode()
    points = "".join(
        f"<Datum>{c}e-6;{r}e-6;{z}</Datum>" if np.isfinite(z) else "<Datum/>"
        for r, row in enumerate(heights)
        for c, z in enumerate(row)
    )
    text = re.sub(
        r"<AxisType>I</AxisType>(\s*<DataType>D</DataType>\s*)<Increment>.*?<",
        r"<AxisType>A</AxisType>\1<Increment>1<",
        text,
    )
    text = re.sub(r"<DataLink>.*</DataLink>", f"<DataList>{points}</DataList>", text, flags=re.S)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("main.xml", text)


WRITERS = {
    "ascii.sdf": lambda path, z: write_sdf(path, z, 0.5),
    "double.sdf": lambda path, z: write_sdf(path, z, 0.5, form="binary"),
    "int16.sdf": lambda path, z: write_sdf(path, z, 0.5, form="binary", data_type="int16", version="older"),
    "masked.x3p": lambda path, z: write_x3p(path, z, (0.5, 0.25), data_type="int16"),
    "layers.x3p": lambda path, z: write_x3p(path, np.stack([z, z]), 0.5, data_type="float32", mask=False),
    "inline.x3p": inline_x3p,
    "float.tif": lambda path, z: tifffile.imwrite(path, z.astype(np.float32)),
    "heights.ome.tif": lambda path, z: tifffile.imwrite(
        path, z.astype(np.float32), ome=True, metadata={"axes": "YX", "PhysicalSizeX": 0.5}
    ),
    "heights.npy": np.save,
    "grid.csv": grid_text,
    "points.txt": points_text,
}


def changed(data, rng):
    """One to three changes: bytes, pieces, numbers as text and as bytes."""
    for _ in range(rng.choice([1, 1, 2, 3])):
        data = CHANGES_OF[rng.integers(len(CHANGES_OF))](data, rng)
    return data


def place(data, rng):
    """A place in the data, every other time near the start."""
    return int(rng.integers(min(len(data), 400 if rng.random() < 0.5 else len(data)) or 1))


def flip(data, rng):
    damaged = bytearray(data)
    for _ in range(rng.integers(1, 5)):
        if damaged:
            damaged[place(damaged, rng)] = rng.integers(256)
    return bytes(damaged)


def cut(data, rng):
    return data[: place(data, rng)] if rng.random() < 0.5 else data[place(data, rng) :]


def insert(data, rng):
    at = place(data, rng)
    new = WORDS[rng.integers(len(WORDS))] if rng.random() < 0.5 else rng.bytes(rng.integers(1, 20))
    return data[:at] + new + data[at:]


def repeat(data, rng):
    at, length = place(data, rng), int(rng.integers(1, 200))
    piece = data[at : at + length]
    return data[:at] + piece * int(rng.choice([0, 2, 3, 50])) + data[at + length :]


def renumber(data, rng):
    numbers = list(NUMBER.finditer(data[: 2**15]))
    if not numbers:
        return data
    found = (
        numbers[rng.integers(len(numbers))]
        if rng.random() < 0.5
        else numbers[rng.integers(min(len(numbers), 20))]
    )
    return data[: found.start()] + EXTREMES[rng.integers(len(EXTREMES))] + data[found.end() :]


def overwrite(data, rng):
    at, new = place(data, rng), PACKED[rng.integers(len(PACKED))]
    return data[:at] + new + data[at + len(new) :]


CHANGES_OF = (flip, cut, insert, repeat, renumber, overwrite)


def changed_inside(data, rng):
    """An X3P file packed again with one of its members changed, its record most often, checksums as they are
    or right again."""
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        members = {name: file.read(name) for name in file.namelist()}
    names = list(members)
    name = "main.xml" if rng.random() < 0.7 else names[rng.integers(len(names))]
    members[name] = changed(members[name], rng)
    if rng.random() < 0.5 and name.startswith("bindata/"):
        kind = b"MD5ChecksumPointData" if "data.bin" in name else b"MD5ChecksumValidPoints"
        digest = hashlib.md5(members[name]).hexdigest().encode()
        members["main.xml"] = re.sub(
            b"<%b>.*?<" % kind, b"<%b>%b<" % (kind, digest), members["main.xml"], flags=re.S
        )
    if rng.random() < 0.1:
        del members[names[rng.integers(len(names))]]
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as file:
        for member, body in members.items():
            file.writestr(member, body)
    return packed.getvalue()


def ways(name):
    return (changed, changed_inside) if name.endswith(".x3p") else (changed,)


@pytest.mark.parametrize("changes", [FEW, pytest.param(MANY, marks=pytest.mark.slow)])
@pytest.mark.parametrize("name", WRITERS)
def test_changed_files(tmp_path, heights, name, changes):
    path = tmp_path / name
    WRITERS[name](path, heights)
    whole = path.read_bytes()
    page = 1 if name == "layers.x3p" else None
    assert open_image(path, page=page).shape == heights.shape
    tracemalloc.start()
    refused = opened = 0
    try:
        for way in ways(name):
            rng = np.random.default_rng([changes, *name.encode()])
            for number in range(changes):
                path.write_bytes(way(whole, rng))
                tracemalloc.reset_peak()
                before = tracemalloc.get_traced_memory()[0]
                start = time.process_time()
                try:
                    image = open_image(path, page=page)
                except InputError as error:
                    refused += 1
                    assert error.remedy and len(str(error)) < 2000
                else:
                    opened += 1
                    assert image.shape[0] > 0 and image.shape[1] > 0
                assert time.process_time() - start < SECONDS, f"change {number} takes long"
                assert tracemalloc.get_traced_memory()[1] - before < BYTES, (
                    f"change {number} takes much memory"
                )
    finally:
        tracemalloc.stop()
    assert refused > changes // 8 and opened >= 3
