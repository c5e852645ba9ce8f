"""The plain way does its job where the job is easy: else beating it would mean nothing."""

import csv

import plain
import synthetic
import tifffile
from scoring import score


def test_plain_way_is_good_on_an_easy_picture(tmp_path):
    image, truth = synthetic.make_micrograph(
        7, (512, 512), n_pits=40, contrast=(0.4, 0.6), touching_fraction=0.0, scratches=0, noise=0.01
    )
    assert score(plain.label_pits(image), truth).f1 > 0.95
    tifffile.imwrite(tmp_path / "easy.tif", image)
    plain.main(str(tmp_path / "easy.tif"), str(tmp_path / "easy.csv"))
    with (tmp_path / "easy.csv").open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == plain.label_pits(image).max()
    assert {"area", "perimeter", "orientation"} <= set(rows[0])
