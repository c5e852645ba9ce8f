"""Scale from a scale bar: taken when sure, offered when not, and never quietly wrong."""

import numpy as np
import pytest

from surfscan.calibration import bar_scale, label_evidence
from surfscan.calibration.bar_scale import ACCEPTED_FROM, read_scale
from surfscan.calibration.labels import parse_label
from surfscan.calibration.uncertainty import DECLARED_SCALE_ALLOWANCE


@pytest.fixture(scope="module", autouse=True)
def read_once():
    """Recognition, which takes most of the time, reads a window once for all tests here."""
    known, plain = {}, label_evidence.read_labels

    def read(pixels, **how):
        key = (pixels.shape, pixels.tobytes(), str(how))
        if key not in known:
            known[key] = plain(pixels, **how)
        return known[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(label_evidence, "read_labels", read)
        yield


@pytest.fixture(scope="module")
def ground():
    grain = np.random.default_rng(8).normal(130, 12, (400, 600))
    return grain.clip(0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def barred(ground, draw_bar):
    return draw_bar(ground, "50 µm", row=300, col=60, length=200)


def test_a_clear_bar_is_taken(barred):
    reading = read_scale(barred)
    (first,) = reading.readings
    assert first.accepted
    assert reading.calibration.pixel_size_x_um == pytest.approx(0.25, rel=1e-3)
    assert reading.calibration.origin == "scale bar '50 µm'"
    assert reading.calibration.relative_uncertainty > DECLARED_SCALE_ALLOWANCE
    assert reading.warnings == ()
    bars = reading.bars
    assert bars["accepted"].tolist() == [True]
    assert bars["length_um"].tolist() == [50]
    assert bars["confidence"][0] == pytest.approx(
        bars["bar_evidence"][0] * bars["label_evidence"][0] * bars["fit"][0]
    )
    assert (bars["crop_row0_px"][0], bars["crop_row1_px"][0]) == (pytest.approx(270, abs=8), 304)


def test_bar_label_and_box_are_overlays(barred):
    covered = np.zeros(barred.shape, bool)
    for row0, row1, col0, col1 in read_scale(barred).overlays:
        covered[row0:row1, col0:col1] = True
    assert covered[262:310, 52:268].all()
    assert covered.sum() < 62 * 232


def test_a_certificate_lowers_the_uncertainty(barred):
    certified = read_scale(barred, certificate_relative_uncertainty=0.001).calibration
    assert certified.relative_uncertainty < 0.004


def test_no_bar(ground):
    reading = read_scale(ground)
    assert reading.readings == ()
    assert reading.calibration is None
    assert next(iter(reading.bars)) == "row_px"
    assert len(reading.bars["row_px"]) == 0


def test_a_bar_without_label(ground, draw_bar):
    """Found and offered for a label; with one it is taken."""
    bare = draw_bar(ground, "", row=300, col=60, length=200)
    reading = read_scale(bare)
    assert reading.calibration is None
    assert reading.bars["length_px"][0] == pytest.approx(200, abs=0.5)
    assert np.isnan(reading.bars["pixel_size_um"][0])
    assert "--label" in reading.warnings[0]
    given = read_scale(bare, label=parse_label("100 µm"))
    assert given.calibration.pixel_size_x_um == pytest.approx(0.5, rel=3e-3)


def test_a_label_without_bar(ground, draw_bar):
    assert read_scale(draw_bar(ground, "50 µm", row=300, length=0)).calibration is None


def test_two_bars_that_agree(barred, draw_bar):
    both = draw_bar(barred, "20 µm", row=100, col=300, length=80)
    reading = read_scale(both)
    assert len(reading.readings) == 2
    assert reading.calibration.pixel_size_x_um == pytest.approx(0.25, rel=5e-3)


def test_two_bars_that_contradict_each_other(barred, draw_bar):
    reading = read_scale(draw_bar(barred, "20 µm", row=100, col=300, length=200))
    assert len(reading.readings) == 2
    assert reading.calibration is None
    assert not reading.bars["accepted"].any()
    assert "contradict each other" in reading.warnings[0]


def test_metadata_that_agree_or_not(barred):
    assert read_scale(barred, metadata_um=0.251).calibration is not None
    differing = read_scale(barred, metadata_um=0.5)
    assert differing.calibration is None
    assert "-50.0 %" in differing.contradiction
    assert differing.readings[0].confidence == pytest.approx(read_scale(barred).readings[0].confidence / 2)


def test_a_label_given_against_the_one_that_stands_there(barred):
    assert read_scale(barred, label=parse_label("50 um")).calibration is not None
    wrong = read_scale(barred, label=parse_label("500 µm"))
    assert wrong.calibration is None
    assert "reads '50 µm'" in wrong.warnings[0]


def test_a_doubtful_reading_is_offered(barred, monkeypatch):
    monkeypatch.setattr(
        bar_scale,
        "tied_labels",
        lambda *_, **__: [label_evidence.TiedLabel(parse_label("50 µm"), (270, 290, 70, 130), 0.6, 1.0)],
    )
    reading = read_scale(barred)
    assert reading.calibration is None
    assert reading.readings[0].confidence < ACCEPTED_FROM
    assert "--pixel-size-um 0.25" in reading.warnings[0]


def test_an_odd_number_is_not_taken(barred, monkeypatch):
    """Bars are not 52 µm long: such a reading has lost or gained something."""
    monkeypatch.setattr(
        bar_scale,
        "tied_labels",
        lambda *_, **__: [label_evidence.TiedLabel(parse_label("52 µm"), (270, 290, 70, 130), 1.0, 1.0)],
    )
    assert read_scale(barred).calibration is None


def test_impossible_pixels_are_not_taken(ground, draw_bar):
    """A bar of 100 mm over 60 px would make pixels of 1.7 mm: no micrograph."""
    reading = read_scale(draw_bar(ground, "100 mm", row=300, col=60, length=60))
    assert reading.calibration is None


def test_without_the_extra(barred, monkeypatch):
    monkeypatch.setattr(label_evidence, "read_labels", lambda *_, **__: [])
    monkeypatch.setattr(bar_scale, "why_unreadable", lambda: "reading labels needs the extra ocr: install it")
    reading = read_scale(barred)
    assert reading.calibration is None
    assert "200.0 px" in reading.warnings[0]
    assert "Reading labels needs the extra ocr" in reading.warnings[0]
    assert read_scale(barred, label=parse_label("50 µm")).calibration.pixel_size_x_um == pytest.approx(
        0.25, rel=1e-3
    )


@pytest.mark.parametrize(("length", "accepted"), [(200, True), (80, False)])
def test_what_part_of_its_ticks_a_bar_counts_is_in_doubt(ground, draw_bar, length, accepted):
    """Ticks of 3 px: outer edges and centres differ by 3 px, 1.5 % of 200 px and 3.8 % of 80 px."""
    picture = draw_bar(ground, "50 µm", row=300, col=60, length=length)
    picture[294:310, 60:63] = picture[294:310, 57 + length : 60 + length] = 255
    reading = read_scale(picture)
    (first,) = reading.readings
    assert first.bar.ticks
    assert first.bar.length_px == pytest.approx(length - 1.5, abs=0.1)
    assert first.uncertainty.ends == pytest.approx(1.5 / np.sqrt(3) / length, rel=0.15)
    assert first.accepted is accepted
    assert accepted or "end ticks are 3.0 px wide" in reading.warnings[0]
    other = read_scale(picture, metadata_um=2 * first.pixel_size_um, only_contradiction=True)
    assert "-50.0 %" in other.contradiction


@pytest.mark.parametrize("dtype", [np.uint16, np.float32])
def test_other_number_types(barred, dtype):
    assert read_scale(barred.astype(dtype) * dtype(3)).calibration is not None


def test_a_tiny_picture():
    assert read_scale(np.zeros((1, 1), np.uint8)).readings == ()


def test_a_label_as_wide_as_its_bar(ground, draw_bar):
    """A line under text is no bar, unless the text is a length."""
    from surfscan.calibration.bars import find_bars

    def under(text):
        picture = draw_bar(ground, text, row=300, col=60, length=0)
        rows, columns = (np.flatnonzero((picture[262:306, 60:180] == 255).any(axis=k)) for k in (1, 0))
        below = 262 + rows[-1] + 4
        picture[below : below + 2, 60 + columns[0] : 61 + columns[-1]] = 255
        return picture, columns[-1] - columns[0] + 1

    picture, length = under("50 um")
    assert find_bars(picture) == []
    (bar,) = find_bars(picture, under_text=True)
    assert bar.under_text
    (reading,) = read_scale(picture).readings
    assert reading.pixel_size_um == pytest.approx(50 / length, rel=2e-3)
    heading, _ = under("B-12 end")
    assert find_bars(heading, under_text=True)
    assert read_scale(heading).readings == ()


@pytest.mark.parametrize("gap", [8, 20])
def test_dashes_are_not_taken_for_the_whole(ground, draw_bar, gap):
    """The label tells the length of all of them, or of one: nobody can say."""
    picture = draw_bar(ground, "50 µm", row=300, col=60, length=150)
    picture[262:312, 150:460] = np.where(picture[262:312, 150:460] > 200, 255, 0)
    picture[300:304, 210 + gap : 360 + gap] = 255
    assert read_scale(picture).calibration is None


def test_a_bar_in_two_colours_is_not_taken_by_its_light_fields(ground, draw_bar):
    picture = draw_bar(ground, "100 µm", row=300, col=100, length=60, thickness=8, box=128)
    picture[258:316, 60:420] = np.where(picture[258:316, 60:420] > 200, 255, 128)
    for field in range(1, 4):
        picture[300:308, 100 + 60 * field : 160 + 60 * field] = 255 * (field % 2 == 0)
    assert read_scale(picture).calibration is None


def test_a_label_between_two_bars_is_in_doubt(ground, draw_bar):
    picture = draw_bar(ground, "50 µm", row=300, col=60, length=200)
    picture[250:310, 50:370] = np.where(picture[250:310, 50:370] > 200, 255, 0)
    picture[257:261, 60:160] = 255
    reading = read_scale(picture)
    assert reading.calibration is None
    assert max(r.confidence for r in reading.readings) < 0.6


def test_texture_that_looks_like_a_bar_contests_no_clear_one(barred):
    picture = barred.copy()
    picture[240:243, 120:190] = 40  # above the box of the clear bar, close to its label
    reading = read_scale(picture)
    assert len(reading.readings) == 2
    assert reading.readings[0].bar.length_px == pytest.approx(200, abs=0.5)
    assert reading.calibration is not None


def test_a_label_that_agrees_at_first_sight_is_not_read_again(barred, monkeypatch):
    """Where only a contradiction matters; one that contradicts is read in full."""
    calls = []
    plain = label_evidence.read_labels

    def counted(*arguments, **how):
        calls.append(how["only_first"])
        return plain(*arguments, **how)

    monkeypatch.setattr(label_evidence, "read_labels", counted)
    agreeing = read_scale(barred, metadata_um=0.251, only_contradiction=True)
    assert (calls, agreeing.contradiction) == ([True], "")
    assert len(agreeing.overlays) == 3
    differing = read_scale(barred, metadata_um=0.5, only_contradiction=True)
    assert calls == [True, True, False]
    assert differing.contradiction == read_scale(barred, metadata_um=0.5).contradiction != ""
