"""What the terminal says of a scale."""

from surfscan.cli.scale_text import scale_headline, scale_rows

BAR = {
    "bar_count": 1, "bar_label": "50 µm", "bar_length_px": 384.04, "confidence": 0.925, "accepted": True,
    "relative_uncertainty": 0.0101, "uncertainty_parts": "ends 0.1 %", "offered_pixel_size_um": 0.13019,
}  # fmt: skip


def test_headlines():
    assert scale_headline(BAR) == "scale bar '50 µm' over 384.0 px, confidence 0.93: taken"
    assert scale_headline(BAR | {"accepted": False}).endswith("not taken")
    assert scale_headline(BAR | {"bar_label": None}) == "scale bar of 384.0 px without a label"
    assert scale_headline({"bar_count": 0}) == "no scale bar found"
    assert scale_headline({"division_um": 10.0}) == "stage micrometer, divisions of 10 µm"


def test_an_offer_is_shown_only_where_nothing_was_taken():
    assert "offered" not in scale_rows(BAR)
    assert scale_rows(BAR)["relative uncertainty"] == "1 % (k = 1)"
    offered = scale_rows(BAR | {"accepted": False, "relative_uncertainty": None})
    assert offered["offered"] == "0.13019 µm per pixel"
    assert "relative uncertainty" not in offered


def test_a_micrometer():
    rows = scale_rows(
        {
            "relative_uncertainty": 0.01, "accepted": True, "pitch_x_px": 12.5001, "line_count_x": 47,
            "rms_x_px": 0.03, "distortion_x_px": 0.2,
        }
    )  # fmt: skip
    assert rows["pitch along x"] == "12.500 px from 47 lines, scatter 0.03 px, distortion 0.20 px"


def test_a_comparison():
    rows = scale_rows(
        BAR
        | {
            "against": "other.png", "against_origin": "stated",
            "against_pixel_size_x_um": 0.131, "against_pixel_size_y_um": 0.14,
            "against_difference_x_fraction": -0.0061, "against_normalised_difference_x": 0.21,
            "against_difference_y_fraction": -0.0701, "against_normalised_difference_y": 2.4,
            "against_agrees_x": True, "against_agrees_y": False,
        }
    )  # fmt: skip
    assert rows["against"] == "other.png, 0.131 x 0.14 µm per pixel (stated)"
    assert rows["  difference in x"] == "-0.61 %, 0.21 of the expanded uncertainty (k = 2): agrees"
    assert rows["  difference in y"] == "-7.01 %, 2.40 of the expanded uncertainty (k = 2): does not agree"
