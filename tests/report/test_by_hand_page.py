"""What the page says of corrections."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import pytest

from surfscan.report.by_hand_page import METHOD, percent, what_changed

NOTHING = dict.fromkeys(
    (
        "rejected_count",
        "added_count",
        "split_count",
        "merged_count",
        "outline_moved_count",
        "unsure_count",
        "rejected_area_px",
        "added_area_px",
        "moved_area_px",
        "move_count",
        "pixel_size_x_um",
    ),
    math.nan,
)


@pytest.fixture(scope="module")
def part(reviewed_folder: Path) -> str:
    """The part of the page, with runs of spaces as one."""
    page = (reviewed_folder / "report.html").read_text(encoding="utf-8")
    found = re.search(r'<section id="by-hand">.*?</section>', page, re.S)
    assert found
    return re.sub(r"\s+", " ", found[0])


def test_says_who_corrected_what_and_what_came_of_it(part: str) -> None:
    text = re.sub(r"<[^>]+>", "|", part)
    assert "Figures of groups with and without corrections" in text
    assert "2 rejected; 694 px taken away" in text and "nothing: accepted as found" in text
    assert "50 % of the objects, 39 % of the area" in text
    assert "0.5000 µm a pixel" in text and "no: on record" in text
    assert "looked at &lt;a&gt;" in part


def test_says_how_far_two_agree(part: str) -> None:
    text = re.sub(r"(?:<[^>]+>)+", "|", part)
    assert "|a.png|pits|A, B|0.894|2 / 3 / 2|0.50|−0.23 to 1.00|4|" in text
    assert "|all 2 images|pits|A, B|" in text and "|0.33|−0.41 to 1.00|8|" in text
    assert "Figures of two reviewers over images" in text and "−2.77 to 2.77" in text


def test_the_summary_and_the_method_say_so(reviewed_folder: Path) -> None:
    page = (reviewed_folder / "report.html").read_text(encoding="utf-8")
    assert (
        "3 images measured as corrected by hand and the scale of 1 image confirmed by hand, by B, A." in page
    )
    assert "Most by hand: pit density of bare, 25 % of it" in page
    assert METHOD[0].split(":")[1].split(";")[0] in page


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({"procedure": "pits"}, "nothing: accepted as found"),
        ({"procedure": "pits", "rejected_count": 2.0, "split_count": 1.0}, "2 rejected, 1 split"),
        ({"procedure": "degraded", "added_area_px": 31.0}, "31 px added"),
        ({"procedure": "struts", "move_count": 1.0}, "1 edge moved"),
        ({"procedure": "struts", "move_count": 3.0}, "3 edges moved"),
        ({"procedure": "scale"}, "no scale confirmed"),
        ({"procedure": "scale", "pixel_size_x_um": 0.25}, "0.2500 µm a pixel"),
    ],
)
def test_changes_in_words(row: dict[str, Any], said: str) -> None:
    assert what_changed(NOTHING | row) == said


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.0, "0 %"),
        (1e-5, "below 0.1 %"),
        (0.0123, "1.2 %"),
        (0.25, "25 %"),
        (0.996, "99.6 %"),
        (1.0, "100 %"),
    ],
)
def test_shares_in_words(share: float, said: str) -> None:
    assert percent(share) == said
