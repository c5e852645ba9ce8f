"""All pictures of a page, and what they may weigh."""

import pytest

from surfscan.report.drawn_pictures import draw_pictures, fair_share
from surfscan.report.pictures import left_out_words
from surfscan.report.records import gather
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture(scope="module")
def records(reported):
    return gather(load_study(reported), ResultsStore(reported).all())[0]


@pytest.mark.parametrize(
    ("weights", "budget", "level"),
    [([5, 1, 9], 20, 9), ([], 3, 0), ([10, 10, 10], 12, 4), ([1, 2, 30, 40], 23, 10), ([7], 3, 3)],
)
def test_fair_share_fills_the_budget(weights, budget, level):
    assert fair_share(weights, budget) == level
    assert sum(min(w, level) for w in weights) <= budget


def test_every_measured_image_in_the_order_of_the_study(records, reported):
    pictures, faults = draw_pictures(reported, records)
    assert list(pictures) == [r.image_id for r in records if r.any_done()] and faults == []
    assert all(p.left_out == 0 for p in pictures.values())


def test_heaviest_drawings_are_made_lighter_and_say_so(records, reported):
    whole, _ = draw_pictures(reported, records)
    total = sum(p.drawn_chars for p in whole.values())
    lighter, _ = draw_pictures(reported, records, total * 2 // 3)
    level = fair_share([p.drawn_chars for p in whole.values()], total * 2 // 3)
    assert sum(p.drawn_chars for p in lighter.values()) < total
    for image, picture in whole.items():
        if picture.drawn_chars <= level:
            assert lighter[image] == picture
    densest = max(whole, key=lambda image: whole[image].drawn_chars)
    left_out = lighter[densest].left_out
    assert 0 < left_out < 40
    assert left_out_words(lighter[densest]) == f" The {left_out} smallest pits are not outlined here."
    assert left_out_words(whole[densest]) == left_out_words(None) == ""
    assert lighter[densest].layers["pits"].count("z") < whole[densest].layers["pits"].count("z")


def test_image_that_is_gone_is_told_of(records, study_folder):
    (study_folder / "images" / "03.png").unlink()
    pictures, faults = draw_pictures(study_folder, records)
    assert len(pictures) == 11
    ((image, text),) = faults
    assert image == "images/03.png" and text.startswith("No picture: ")
