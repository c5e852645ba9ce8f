"""Columns of scale bars."""

from surfscan.columns import columns


def test_the_contract_comes_first_to_last():
    names = [c.name for c in columns("bars")]
    asked = (
        "row_px", "col_start_px", "col_end_px", "length_px", "label", "length_um", "pixel_size_um",
        "confidence", "accepted", "end_uncertainty_px", "relative_uncertainty",
    )  # fmt: skip
    assert set(asked) < set(names)
    assert [n for n in names if n.startswith("crop_")] == [
        f"crop_{end}_px" for end in ("row0", "row1", "col0", "col1")
    ]
