"""Edge weights, the counting frame and the intervals of one field."""

import numpy as np
import pytest

from surfscan.estimates.counting import (
    EdgeRule,
    Estimate,
    area_fraction_interval,
    density,
    edge_weights,
    gamma_interval,
    gundersen_count,
    miles_lantuejoul_weight,
)


def boxes(*rows: tuple[int, int, int, int]) -> tuple[np.ndarray, ...]:
    """Arrays of top, left, height, width."""
    return tuple(np.array(column) for column in zip(*rows, strict=True))


def test_weight_of_a_pit_in_the_middle():
    w = edge_weights(*boxes((40, 40, 19, 19)), frame=(0, 100, 0, 100))
    assert w.weights == pytest.approx([100 * 100 / (80 * 80)])
    assert w.warnings == ()


def test_every_shift_of_a_pit_adds_up_to_the_field():
    high, wide, h, w = 13, 17, 4, 3
    shifts = [(r, c, h, w) for r in range(-h, high + 1) for c in range(-w, wide + 1)]
    weights = edge_weights(*boxes(*shifts), frame=(0, high, 0, wide)).weights
    assert weights.sum() == pytest.approx(high * wide)


def test_every_shift_of_a_pit_adds_up_to_the_specimen_in_the_frame():
    region = np.random.default_rng(2).random((30, 40)) < 0.6
    frame, h, w = (5, 28, 3, 33), 5, 4
    shifts = [(r, c, h, w) for r in range(30 - h) for c in range(40 - w) if region[r + h // 2, c + w // 2]]
    weights = edge_weights(*boxes(*shifts), frame=frame, region=region).weights
    assert weights.sum() == pytest.approx(region[5:28, 3:33].sum())


def test_a_full_region_is_no_region():
    box = boxes((10, 12, 6, 9), (20, 5, 1, 1))
    frame = (2, 50, 0, 60)
    full = np.zeros((60, 60), dtype=bool)
    full[2:50] = True
    almost = full.copy()
    almost[30, 30] = False
    plain = edge_weights(*box, frame=frame).weights
    np.testing.assert_array_equal(edge_weights(*box, frame=frame, region=full).weights, plain)
    np.testing.assert_allclose(edge_weights(*box, frame=frame, region=almost).weights, plain, rtol=1e-3)


def test_pits_at_each_side_of_the_frame_weigh_nothing():
    touching = boxes((2, 10, 3, 3), (10, 4, 3, 3), (37, 10, 3, 3), (10, 47, 3, 3))
    clear = boxes((3, 10, 3, 3), (10, 5, 3, 3), (36, 10, 3, 3), (10, 46, 3, 3))
    frame = (2, 40, 4, 50)
    np.testing.assert_array_equal(edge_weights(*touching, frame=frame).weights, 0)
    assert (edge_weights(*clear, frame=frame).weights > 1).all()


def test_specimen_edge_does_not_take_weight_away():
    region = np.zeros((50, 50), dtype=bool)
    region[:, 10:40] = True
    at_edge = edge_weights(*boxes((20, 10, 4, 4)), frame=(0, 50, 0, 50), region=region)
    # Columns of the specimen lie clear of the frame's left and right border: only rows are lost.
    assert at_edge.weights == pytest.approx([50 / (50 - 5)])


def test_a_pit_across_the_field_has_no_weight():
    w = edge_weights(*boxes((0, 10, 40, 5), (10, 10, 5, 5)), frame=(0, 40, 0, 40))
    assert np.isnan(w.weights[0])
    assert w.weights[1] > 1
    assert len(w.warnings) == 1
    assert w.warnings[0].startswith("1 pit reaches from one edge of the field to the opposite one")


def test_a_pit_with_no_place_on_the_specimen_has_no_weight():
    region = np.zeros((40, 40), dtype=bool)
    region[:4] = True
    w = edge_weights(*boxes((1, 10, 20, 5)), frame=(0, 40, 0, 40), region=region)
    assert np.isnan(w.weights[0])
    assert w.warnings[0].startswith("1 pit has no edge weight")
    assert density(w.weights, 1.0) == Estimate(None, None)


def test_no_pits():
    nothing = np.empty(0, dtype=np.int64)
    w = edge_weights(nothing, nothing, nothing, nothing, frame=(0, 9, 0, 9))
    assert w.weights.size == 0
    assert w.warnings == ()


def test_weight_of_what_does_not_fit_is_not_a_number():
    weights = miles_lantuejoul_weight(np.array([99, 100, 120]), 10, 100, 100)
    assert weights[0] > 100
    assert np.isnan(weights[1:]).all()


def test_frame_counts_each_object_in_one_tile_only():
    rng = np.random.default_rng(8)
    labels = np.zeros((90, 90), dtype=np.int32)
    for k in range(1, 26):
        r, c = rng.integers(16, 66, 2)
        h, w = rng.integers(1, 9, 2)
        labels[r : r + h, c : c + w] = k
    visible = len(np.unique(labels)) - 1
    tiles = [(r, r + 15, c, c + 15) for r in range(0, 90, 15) for c in range(0, 90, 15)]
    assert sum(gundersen_count(labels, t) for t in tiles) == visible


def test_frame_sides_by_hand():
    labels = np.zeros((12, 12), dtype=np.int32)
    labels[5, 5] = 1  # inside
    labels[4:6, 3:5] = 2  # over the left side: forbidden
    labels[7:9, 6] = 3  # over the bottom side: forbidden
    labels[3:5, 6] = 4  # over the top: counted
    labels[6, 7:10] = 5  # over the right: counted
    labels[10, 10] = 6  # elsewhere
    labels[7, 7:9] = labels[7:10, 8] = 7  # out over the right, then down beside the right side: counted
    labels[1:5, 3] = labels[1, 4:6] = labels[1:5, 5] = 8  # also left of the left side produced: forbidden
    assert gundersen_count(labels, (4, 8, 4, 8)) == 4


def test_density_scales_with_area():
    weights = np.array([1.2, 1.2, 1.2, 0.0])
    one, two = density(weights, 1.0), density(weights, 2.0)
    assert one.value == pytest.approx(3.6)
    assert two.value == pytest.approx(1.8)
    assert two.ci95 == pytest.approx((one.ci95[0] / 2, one.ci95[1] / 2))


def test_equal_weights_scale_the_exact_interval():
    counts = gamma_interval(np.ones(7), 1.0)
    assert gamma_interval(np.full(7, 1.3), 1.3) == pytest.approx((1.3 * counts[0], 1.3 * counts[1]))


def test_unequal_weights_widen_the_interval():
    even, uneven = density(np.full(4, 2.0), 1.0), density(np.array([1.0, 1.0, 1.0, 5.0]), 1.0)
    assert even.value == uneven.value
    assert uneven.ci95[0] < even.ci95[0] < even.ci95[1] < uneven.ci95[1]


def test_no_pit_gives_an_upper_limit_only():
    none = density(np.array([0.0]), 0.5)
    assert none.value == 0
    assert none.ci95 == pytest.approx((0, 2 * 3.6889), rel=1e-4)


@pytest.mark.parametrize("area", [0.0, -1.0, float("nan")])
def test_area_must_be_positive(area):
    with pytest.raises(ValueError, match="area must be above 0"):
        density(np.ones(1), area)
    with pytest.raises(ValueError, match="area must be above 0"):
        area_fraction_interval(np.ones(1), np.ones(1), area, 0.1)


def test_area_fraction_without_outline_term_is_the_gamma_interval():
    areas = np.array([3.0, 4.0, 5.0])
    estimate = area_fraction_interval(areas, np.zeros(3), 100.0, 0.0)
    low, high = gamma_interval(areas, 5.0)
    assert estimate.value == pytest.approx(0.12)
    assert estimate.ci95 == pytest.approx((low / 100, high / 100))


def test_outline_term_dominates_many_small_pits():
    areas, perimeters = np.full(40_000, 10.0), np.full(40_000, 12.0)
    estimate = area_fraction_interval(areas, perimeters, 4e6, 0.2)
    half = 1.959964 * 0.2 * perimeters.sum() / 4e6
    assert estimate.ci95 == pytest.approx((0.1 - half, 0.1 + half), rel=2e-3)


def test_area_fraction_stays_within_0_and_1():
    estimate = area_fraction_interval(np.array([90.0]), np.array([40.0]), 100.0, 2.0)
    assert estimate.ci95 == (0.0, 1.0)


def test_no_pit_gives_no_interval_of_the_area_fraction():
    estimate = area_fraction_interval(np.empty(0), np.empty(0), 100.0, 0.3)
    assert estimate.value == 0
    assert estimate.ci95 is None


def test_a_rule_made_once_weighs_as_often_as_is_asked():
    region = np.random.default_rng(3).random((30, 40)) < 0.7
    many = boxes((4, 5, 6, 7), (0, 3, 4, 4), (10, 10, 3, 9), (0, 0, 30, 5))
    for mask in (None, region):
        rule = EdgeRule((0, 30, 0, 40), mask)
        together = edge_weights(*many, frame=(0, 30, 0, 40), region=mask)
        one_by_one = [rule.weigh(*(column[k : k + 1] for column in many)).weights[0] for k in range(4)]
        np.testing.assert_array_equal(one_by_one, together.weights)
        assert rule.weigh(*many).warnings == together.warnings
