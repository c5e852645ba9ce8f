"""Which text is a bar's label."""

from dataclasses import replace

import numpy as np
import pytest

from surfscan.calibration import label_evidence
from surfscan.calibration.bars import Bar, find_bars
from surfscan.calibration.label_evidence import ink_of, reading_windows, tied_labels
from surfscan.calibration.label_reading import ReadText

BAR = Bar(200, 100, 300, 4, "plain", "light", 0.3, 1.0, (198, 202, 100, 301))
SHAPE = (400, 800)


def read(monkeypatch, *texts):
    """Labels tied to BAR where each of three renderings gives `texts`: (text, row0, row1, col0, col1)."""
    row0, _, col0, _ = reading_windows(np.zeros(SHAPE, np.uint8), BAR)[0]
    given = [
        ReadText(text, (a - row0, b - row0, c - col0, d - col0), 0.95, rendering)
        for rendering in range(3)
        for text, a, b, c, d in texts
    ]
    monkeypatch.setattr(label_evidence, "read_labels", lambda *_, **__: given)
    return tied_labels(np.zeros(SHAPE, np.uint8), BAR)


@pytest.mark.parametrize(
    "place", [(172, 192, 150, 220), (208, 228, 150, 220), (190, 210, 310, 380), (190, 210, 22, 92)]
)
def test_above_below_and_beside(monkeypatch, place):
    (tied,) = read(monkeypatch, ("50 µm", *place))
    assert tied.label.length_um == 50
    assert tied.position == 1
    assert tied.evidence > 0.95


def test_too_far_off(monkeypatch):
    assert read(monkeypatch, ("50 µm", 120, 132, 150, 220)) == []
    assert read(monkeypatch, ("50 µm", 190, 210, 400, 470)) == []


@pytest.mark.parametrize("name", ["WD", "WD =", "HFW:", "FOV"])
def test_a_number_with_a_name_before_it(monkeypatch, name):
    assert read(monkeypatch, (name, 172, 192, 105, 140), ("10 mm", 172, 192, 150, 220)) == []


def test_what_stands_in_the_same_strip_does_no_harm(monkeypatch):
    (tied,) = read(
        monkeypatch,
        ("WD 10 mm", 172, 192, 330, 420),
        ("HV 20 kV", 208, 228, 330, 420),
        ("2 µm", 172, 192, 150, 200),
    )
    assert tied.label.length_um == 2


def test_number_and_unit_read_apart(monkeypatch):
    (tied,) = read(monkeypatch, ("250", 172, 192, 150, 190), ("μm", 174, 194, 198, 225))
    assert tied.label.text == "250 µm"
    assert tied.evidence > 0.9


def test_a_text_that_is_cut_is_none(monkeypatch):
    """What ends where the window ends may go on: '10 mm' may be the end of 'WD 10 mm'."""
    bar = replace(BAR, col_start_px=700, col_end_px=900, box=(198, 202, 700, 901))
    wide = np.zeros((400, 1600), np.uint8)
    for window in reading_windows(wide, bar):
        assert 0 < window[2] < 640
    cut = [ReadText("10 mm", (190, 210, 0, 60), 0.95, k) for k in range(3)]
    monkeypatch.setattr(label_evidence, "read_labels", lambda *_, **__: cut)
    assert tied_labels(wide, bar) == []


def test_a_label_that_the_window_cuts_is_read_in_a_wider_one(monkeypatch):
    """Boxes of recognition are loose: one that meets the window's edge may hold the whole label."""
    bar = replace(BAR, col_start_px=700, col_end_px=900, box=(198, 202, 700, 901))
    picture = np.zeros((400, 1600), np.uint8)
    near, wide = reading_windows(picture, bar)
    assert near[0] > wide[0]

    def seen(part, **_):
        row0, _, col0, _ = near if part.shape == (near[1] - near[0], near[3] - near[2]) else wide
        tops = (near[0], near[0], near[0] + 3)
        return [ReadText("50 µm", (t - row0, 192 - row0, 760 - col0, 830 - col0), 0.95, k)
                for k, t in enumerate(tops)]  # fmt: skip

    monkeypatch.setattr(label_evidence, "read_labels", seen)
    (tied,) = tied_labels(picture, bar)
    assert tied.label.length_um == 50
    assert tied.evidence > 0.95


def test_renderings_that_disagree(monkeypatch):
    """Two against one leave little evidence: neither is taken."""
    row0, _, col0, _ = reading_windows(np.zeros(SHAPE, np.uint8), BAR)[0]
    box = (172 - row0, 192 - row0, 150 - col0, 220 - col0)
    given = [ReadText(text, box, 0.9, k) for k, text in enumerate(("20 µm", "200 µm", "20 µm"))]
    monkeypatch.setattr(label_evidence, "read_labels", lambda *_, **__: given)
    (tied,) = tied_labels(np.zeros(SHAPE, np.uint8), BAR)
    assert tied.label.length_um == 20
    assert tied.evidence < 0.7


def test_a_bar_and_its_ticks_are_not_read(draw_bar):
    """Ticks beside the number would be read as ones."""
    picture = draw_bar(np.full((260, 360), 150, np.uint8), "20 µm", length=140)
    picture[193:211, 40:43] = picture[193:211, 177:180] = 255
    bar = find_bars(picture)[0]
    assert bar.ticks
    assert ink_of(picture, bar) == 255
    (tied,) = tied_labels(picture, bar)
    assert tied.label.text == "20 µm"


def test_a_length_that_begins_a_longer_text(monkeypatch):
    """Recognition runs over the space to the next word; a row of figures is left as it is."""
    (tied,) = read(monkeypatch, ("25 um Tilt", 190, 210, 310, 450))
    assert (tied.label.length_um, tied.box) == (25, (190, 210, 310, 380))
    assert read(monkeypatch, ("10.0mm x5.00k", 190, 210, 310, 450)) == []
    assert read(monkeypatch, ("WD 10 mm", 190, 210, 310, 400)) == []


def test_a_label_at_the_border_that_no_digit_can_be_missing_from(draw_bar):
    """'200 µm' was no '1200 µm'; at the border itself its first digit may be the half of another."""
    wide = draw_bar(np.full((260, 460), 120, np.uint8), "200 µm", length=200, box=None, col=100)
    first = int(np.argmax((wide[160:195] == 255).any(axis=0)))
    for start, is_doubtful in ((0, True), (4, False)):
        picture = np.full((260, 460), 120, np.uint8)
        picture[160:195, start : start + 300] = wide[160:195, first : first + 300]
        picture[200:204, 20:220] = 255
        (tied,) = tied_labels(picture, find_bars(picture)[0])
        assert tied.label.length_um == 200
        assert (tied.evidence < 0.7) == is_doubtful


@pytest.mark.parametrize(("start", "is_doubtful"), [(0, True), (1, True), (12, False)])
def test_a_label_at_the_border_may_have_lost_a_digit(draw_bar, start, is_doubtful):
    wide = draw_bar(np.full((260, 460), 120, np.uint8), "150 µm", length=200, box=None, col=100)
    first = int(np.argmax((wide[160:195] == 255).any(axis=0)))
    text = wide[160:195, first + 12 :]  # without the 1
    picture = np.full((260, 460), 120, np.uint8)
    picture[160:195, start : start + text.shape[1]] = text[:, : 460 - start]
    picture[200:204, 20:220] = 255
    (tied,) = tied_labels(picture, find_bars(picture)[0])
    assert tied.label.length_um == 50
    assert (tied.evidence < 0.7) == is_doubtful


def cut_before(wide, first, start, *, shape=(260, 460)):
    """A picture whose label, from column `first` of `wide` on, begins at column `start`; without a bar."""
    picture = np.full(shape, 120, np.uint8)
    picture[160:195, start : start + 300] = wide[160:195, first : first + 300]
    return picture


def test_a_label_that_is_whole_whatever_the_border(draw_bar):
    """In the middle of its bar, beginning with it, behind the edge of a box, or in a frame."""
    wide = draw_bar(np.full((260, 460), 120, np.uint8), "50 µm", length=200, box=None, col=100)
    columns = np.flatnonzero((wide[160:195] == 255).any(axis=0))
    first, length = int(columns[0]), int(columns[-1] - columns[0]) + 1
    picture = cut_before(wide, first, 6)

    def evidence(left, right, *, box=False, frame=False):
        drawn = picture.copy()
        if box:
            drawn[drawn == 120] = 90
            drawn[:, :3] = 200
            drawn[:150] = drawn[215:] = drawn[:, 320:] = 200
        if frame:
            drawn[120:250, :2] = 255
        drawn[200:204, left:right] = 255
        (tied,) = tied_labels(drawn, max(find_bars(drawn), key=lambda bar: bar.evidence))
        assert tied.label.length_um == 50
        return tied.evidence

    assert evidence(25, 225) < 0.7
    assert evidence(25, 225, box=True) > 0.9
    assert evidence(25, 225, frame=True) > 0.9
    assert evidence(6, 206) > 0.9
    assert evidence(4, length + 8) > 0.9
