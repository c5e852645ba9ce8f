import numpy as np
import pytest

from surfscan.columns import columns
from surfscan.corrections.pit_review import PitReview
from surfscan.corrections.pit_rows import row_of, rows_of
from surfscan.measurement.objects import nearest_distance
from surfscan.procedures import PitSettings
from surfscan.procedures.settings import HeightPitSettings

OURS = ["label", "status", "origin", "settled", "redrawn", "doubt"]


def test_columns_and_neighbours(pitted_field):
    """Rejected objects have rows, but are nobody's neighbour."""
    image, result = pitted_field
    review = PitReview.start(image, result)
    review.reject([1])
    rows = rows_of(review._state)
    assert list(rows) == OURS + [c.name for c in columns("pits") if c.name != "label"]
    unit = "px" if image.calibration is None else "um"
    counts = rows["status"] != "rejected"
    near = nearest_distance(rows[f"row_{unit}"][counts], rows[f"col_{unit}"][counts])
    np.testing.assert_array_equal(rows[f"nearest_pit_{unit}"][counts], near)
    assert np.isnan(rows[f"nearest_pit_{unit}"][0])
    assert rows["near_limit"].dtype.kind == "U"


def test_one_row(plate):
    review = PitReview.start(*plate)
    row = row_of(review._state, 3)
    assert row["label"] == 3 and type(row["label"]) is int and type(row["status"]) is str
    table = rows_of(review._state)
    for name, value in row.items():
        np.testing.assert_equal(value, table[name][2])


def test_doubt_on_a_micrograph(plate):
    image, result = plate
    settings, pits = PitSettings(), result.tables["pits"]
    diameter = np.sqrt(4 * pits["area_px"] / np.pi)
    ratios = [pits["contrast"] / settings.min_contrast, diameter / settings.min_diameter_px]
    ratios.append(pits["contrast_to_noise"] / settings.min_contrast_to_noise)
    doubt = rows_of(PitReview.start(image, result)._state)["doubt"]
    np.testing.assert_allclose(doubt, 1 / np.min(ratios, axis=0))
    assert (doubt < 1).all()


def test_doubt_on_a_height_map(rough_plate):
    from surfscan.procedures import measure_pits

    image, _ = rough_plate
    settings = HeightPitSettings(min_depth_um=4.0)
    result = measure_pits(image, settings)
    pits = result.tables["pits"]
    ratios = [pits["depth_to_roughness"] / 4, np.sqrt(4 * pits["area_px"] / np.pi) / 3, pits["depth_um"] / 4]
    doubt = rows_of(PitReview.start(image, result)._state)["doubt"]
    np.testing.assert_allclose(doubt, 1 / np.min(ratios, axis=0))
    assert doubt.max() == pytest.approx(1, abs=0.3)
