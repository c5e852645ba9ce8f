"""Files cut short and bytes changed at seeded places: an image or an InputError comes back, nothing else."""

import logging

import cv2
import numpy as np
import pytest
import tifffile

from surfscan.errors import InputError
from surfscan.loaders import load

TIFFS = {
    "plain.tif": {},
    "tiles.tif": {"tile": (16, 16)},
    "lzw.tif": {"compression": "lzw"},
    "deflate.tif": {"compression": "deflate", "predictor": True, "rowsperstrip": 7},
    "zstd.tif": {"compression": "zstd", "tile": (16, 32)},
    "jpeg.tif": {"compression": "jpeg"},
    "big.tif": {"bigtiff": True, "byteorder": ">"},
    "ome.tif": {"ome": True, "metadata": {"axes": "YX", "PhysicalSizeX": 250, "PhysicalSizeXUnit": "nm"}},
}
CHANGES = 40


def write(path, grey):
    if path.suffix == ".tif":
        tifffile.imwrite(path, grey, **TIFFS[path.name])
    else:
        cv2.imwrite(str(path), grey)


def variants(whole, seed):
    """Copies cut at a random byte, and copies with one to three bytes changed, half of them in the header."""
    rng = np.random.default_rng(seed)
    for number in range(CHANGES):
        if number % 3 == 0:
            yield whole[: rng.integers(len(whole))]
            continue
        damaged = bytearray(whole)
        reach = min(200, len(whole)) if number % 3 == 1 else len(whole)
        for at in rng.integers(reach, size=rng.integers(1, 4)):
            damaged[at] = rng.integers(256)
        yield bytes(damaged)


@pytest.mark.parametrize("name", [*TIFFS, "grey.png", "grey.jpg", "grey.bmp"])
def test_damaged_files(tmp_path, grey, capfd, caplog, name):
    path = tmp_path / name
    write(path, grey)
    whole = path.read_bytes()
    refused = 0
    with caplog.at_level(logging.DEBUG):
        for damaged in variants(whole, seed=len(whole)):
            path.write_bytes(damaged)
            try:
                loaded = load(path)
            except InputError as error:
                refused += 1
                assert name in str(error) and error.remedy
            else:
                assert loaded.pixels.size > 0
    assert refused >= CHANGES // 4
    assert caplog.records == []
    assert capfd.readouterr() == ("", "")
