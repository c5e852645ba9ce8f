"""Measured against true."""

import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.estimates.groups import t_factor
from surfscan.report.records import gather
from surfscan.report.truth import compare_with_truth
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


def compare(folder, text):
    (folder / "truth.csv").write_text(text, encoding="utf-8")
    records, _ = gather(load_study(folder), ResultsStore(folder).all())
    return compare_with_truth(folder, records)


def test_no_truth_file_no_comparison(study_folder):
    assert compare_with_truth(study_folder, []) == []


def test_bias_interval_and_coverage(study_folder):
    (pits, degraded) = compare(
        study_folder,
        "image,figure,true_value,remark\n"
        "images/03.png,pit_count,14,\nimages/04.png,pit_count,16,\nimages/05.png,pit_count,15,\n"
        "images/03.png,degraded_area_fraction,0.201,\nimages/04.png,degraded_area_fraction,0.5,\n",
    )
    assert pits.measured.tolist() == [12, 16, 14]
    assert pits.bias == pytest.approx(-1)
    half = t_factor(2) * np.std([-2, 0, -1], ddof=1) / np.sqrt(3)
    assert pits.bias_ci95 == pytest.approx((-1 - half, -1 + half))
    assert pits.relative_bias == pytest.approx(42 / 45 - 1)
    assert (pits.covered, pits.with_interval) == (0, 0)
    assert degraded.bias_ci95 is None  # two images
    assert (degraded.covered, degraded.with_interval) == (1, 2)


def test_pictures_and_height_maps_are_compared_apart(height_folder):
    """The same figure on both kinds of image gives two comparisons."""
    found = compare(
        height_folder,
        "image,figure,true_value\nimages/a.png,pit_count,4\nmaps/03.npy,pit_count,3\nmaps/05.npy,pit_count,4\n"
        "maps/07.npy,mean_penetration_um,2.5\nmaps/03.npy,mean_penetration_um,2.5\nmaps/05.npy,Sq_um,0.2\n",
    )
    pictures, maps, penetration, texture = found
    assert [(c.figure, c.kind) for c in found] == [
        ("pit_count", "surface"),
        ("pit_count", "heights"),
        ("mean_penetration_um", "heights"),
        ("Sq_um", "heights"),
    ]
    assert pictures.images == ("images/a.png",)
    assert maps.images == ("maps/03.npy", "maps/05.npy") and maps.bias == 0
    assert penetration.images == ("maps/07.npy",)  # the original level of the other is not known
    assert penetration.bias == pytest.approx(-0.5) and penetration.lower_bounds == 0
    assert texture.images == ("maps/05.npy",)


def test_no_bias_is_told_from_a_lower_bound(height_folder):
    text = "image,figure,true_value\n" + "".join(
        f"maps/{name}.npy,{figure},10\n"
        for name in ("03", "04", "05")
        for figure in ("max_depth_um", "mean_depth_10_deepest_um")
    )
    for comparison in compare(height_folder, text):
        assert comparison.images == ("maps/03.npy", "maps/05.npy")  # a floor of 04 was not measured
        assert comparison.lower_bounds == 1
    only = "image,figure,true_value\nmaps/04.npy,max_depth_um,10\n"
    assert compare(height_folder, only) == []


def test_images_without_a_result_are_left_out(study_folder):
    text = "image,figure,true_value\nimages/lost.png,pit_count,3\nimages/00.png,pit_count,1\n"
    (pits,) = compare(study_folder, text)
    assert pits.images == ("images/00.png",)


@pytest.mark.parametrize(
    "text, fault",
    [
        ("image,figure\n", r"truth\.csv: lacks the column\(s\) true_value"),
        ("image,figure,true_value\nother.png,pit_count,1\n", r"truth\.csv:2: image 'other\.png' is not in"),
        ("image,figure,true_value\nimages/00.png,depth,1\n", r"truth\.csv:2: unknown figure 'depth'"),
        ("image,figure,true_value\nimages/00.png,pit_count,many\n", r"'many' is not a number"),
        ("image,figure,true_value\nimages/00.png,pit_count,nan\n", r"'nan' is not a number"),
        ("image,figure,true_value\nimages/00.png,pit_count\n", r"None is not a number"),
    ],
)
def test_faults_are_named_with_their_line(study_folder, text, fault):
    with pytest.raises(InputError, match=fault):
        compare(study_folder, text)
