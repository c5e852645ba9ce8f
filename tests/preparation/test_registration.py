"""Two pictures of one part: known moves found again, doubtful ones refused."""

import math

import cv2
import numpy as np
import pytest

from surfscan.preparation.registration import register


def foam(size=640, seed=0, width=12):
    """Struts along the borders of random cells: no turn or shift repeats it."""
    rng = np.random.default_rng(seed)
    cells = cv2.Subdiv2D((-200, -200, size + 400, size + 400))
    for point in rng.uniform(-60, size + 60, (26, 2)):
        cells.insert((float(point[0]), float(point[1])))
    picture = np.zeros((size, size), np.uint8)
    for x0, y0, x1, y1 in cells.getEdgeList():
        cv2.line(picture, (int(x0 * 16), int(y0 * 16)), (int(x1 * 16), int(y1 * 16)), 255, width, 16, 4)
    return picture


def grid(size=640, pitch=80, width=12):
    """A square mesh that looks the same one pitch further and after a quarter turn."""
    picture = np.zeros((size, size), np.uint8)
    for k in range(0, size, pitch):
        picture[k : k + width] = 255
        picture[:, k : k + width] = 255
    return picture


def view(picture, turn=0.0, scale=1.0, shift=(0.0, 0.0), shape=(360, 360), stretch=(1.0, 1.0)):
    """Silhouette of what a camera sees of a part turned counter-clockwise, and the matrix part -> px."""
    c, s = scale * math.cos(math.radians(turn)), scale * math.sin(math.radians(turn))
    linear = np.array([[c, s], [-s, c]]) * np.array(stretch)[:, None]
    middle = (np.array(picture.shape[::-1]) - 1) / 2
    offset = (np.array(shape[::-1]) - 1) / 2 + np.array(shift) - linear @ middle
    matrix = np.column_stack([linear, offset])
    return cv2.warpAffine(picture, matrix, shape[::-1], flags=cv2.INTER_LINEAR) > 127, matrix


def worst_error(found, before_matrix, after_matrix, shape=(360, 360)):
    """Furthest that a grid of points is put wrong, px of the picture after."""
    full = [np.vstack([m, [0, 0, 1]]) for m in (before_matrix, after_matrix)]
    truth = (full[1] @ np.linalg.inv(full[0]))[:2]
    x, y = np.meshgrid(np.linspace(40, shape[1] - 40, 4), np.linspace(40, shape[0] - 40, 4))
    points = np.stack([x.ravel(), y.ravel(), np.ones(x.size)])
    return float(np.hypot(*((truth - found.matrix) @ points)).max())


@pytest.mark.parametrize(("turn", "shift"), [(6.3, (15, -11)), (131, (5, 9)), (180, (-20, 6))])
def test_turn_and_shift_with_known_scale(turn, shift):
    """Within a third of a pixel, though two pixels of metal are gone from every edge."""
    part = foam()
    thin = cv2.erode(part, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5)))
    before, before_matrix = view(part)
    after, after_matrix = view(thin, turn, 1.0, shift)
    found = register(before, after, pixel_sizes_um=((2.0, 2.0), (2.0, 2.0)))
    assert found.accepted, found.fault
    assert worst_error(found, before_matrix, after_matrix) < 0.33
    assert abs((found.rotation_deg - turn + 180) % 360 - 180) < 0.1
    assert found.scale == 1
    assert 0 < found.uncertainty_px < 0.3
    assert found.uncertainty_px <= found.worst_uncertainty_px


@pytest.mark.parametrize(("turn", "scale"), [(10, 1.25), (-70, 0.75)])
def test_unknown_scale(turn, scale):
    """Turn, shift and scale at once; loss at edges may pass for a little scale and is stated."""
    part = foam()
    before, before_matrix = view(part)
    after, after_matrix = view(part, turn, scale, (8, -5))
    found = register(before, after)
    assert found.accepted, found.fault
    assert found.scale == pytest.approx(scale, abs=3e-3)
    assert worst_error(found, before_matrix, after_matrix) < 0.6
    assert found.scale_uncertainty > 0


def test_pixel_sizes_that_differ():
    """A picture after with other and unequal pixel sizes: the matrix holds them, the scale stays 1."""
    part = foam()
    before, before_matrix = view(part)
    after, after_matrix = view(part, 15, 1.0, (4, 6), stretch=(0.8, 0.9))
    found = register(before, after, pixel_sizes_um=((1.0, 1.0), (1 / 0.8, 1 / 0.9)))
    assert found.accepted, found.fault
    assert found.rotation_deg == pytest.approx(15, abs=0.1)
    assert worst_error(found, before_matrix, after_matrix) < 0.5


def test_stated_uncertainty_holds():
    """Over moves at random, errors of the middle of the field are of the size stated."""
    rng = np.random.default_rng(5)
    ratios = []
    for seed in range(4):
        part = foam(seed=seed)
        noise = cv2.GaussianBlur(rng.standard_normal(part.shape).astype(np.float32), (0, 0), 6)
        ragged = (cv2.GaussianBlur(part, (0, 0), 2) + 600 * noise > 150).astype(np.uint8) * 255
        before, before_matrix = view(part)
        after, after_matrix = view(ragged, rng.uniform(-20, 20), 1.0, rng.uniform(-15, 15, 2))
        found = register(
            before,
            after,
            pixel_sizes_um=((1.0, 1.0), (1.0, 1.0)),
            max_rotation_deg=25,
            max_shift_fraction=0.1,
        )
        full = [np.vstack([m, [0, 0, 1]]) for m in (before_matrix, after_matrix)]
        truth = (full[1] @ np.linalg.inv(full[0]))[:2] @ [179.5, 179.5, 1]
        ratios.append(float(np.hypot(*(truth - found.matrix @ [179.5, 179.5, 1]))) / found.uncertainty_px)
    assert 0.15 < np.sqrt(np.mean(np.square(ratios))) < 2.5


def test_other_parts_are_refused():
    """Pictures of two different parts."""
    found = register(
        view(foam(seed=1))[0], view(foam(seed=2), 20)[0], pixel_sizes_um=((1.0, 1.0), (1.0, 1.0))
    )
    assert not found.accepted
    assert "agree too little" in found.fault


def test_a_regular_mesh_is_ambiguous_until_limits_are_narrow():
    """A mesh that fills the field fits one pitch further too."""
    part = grid()
    before, before_matrix = view(part)
    after, after_matrix = view(part, 3, 1.0, (9, -7))
    same = ((1.0, 1.0), (1.0, 1.0))
    found = register(before, after, pixel_sizes_um=same)
    assert not found.accepted
    assert "limit how far" in found.fault
    found = register(before, after, pixel_sizes_um=same, max_rotation_deg=20, max_shift_fraction=0.08)
    assert found.accepted, found.fault
    assert worst_error(found, before_matrix, after_matrix) < 0.3


def test_one_strut_across_the_field_is_ambiguous():
    """Nothing says where along itself a plain strut lies."""
    bar = np.zeros((640, 640), np.uint8)
    bar[300:340] = 255
    found = register(view(bar)[0], view(bar, 5)[0], pixel_sizes_um=((1.0, 1.0), (1.0, 1.0)))
    assert not found.accepted


def test_points_and_masks_go_over_and_back():
    """to_before undoes to_after; a mask resampled lands on the picture after."""
    part = foam()
    before, _ = view(part)
    after, _ = view(part, 25, 1.0, (12, 3))
    found = register(before, after, pixel_sizes_um=((1.0, 1.0), (1.0, 1.0)))
    rows, cols = np.array([10.0, 200.0]), np.array([50.0, 7.5])
    back = found.to_before(*found.to_after(rows, cols))
    assert back[0] == pytest.approx(rows)
    assert back[1] == pytest.approx(cols)
    moved = found.onto_after(before, after.shape)
    assert moved.dtype == bool
    inner = (slice(120, 240), slice(120, 240))
    assert np.mean(moved[inner] == after[inner]) > 0.985
    grey = found.onto_after(before.astype(np.float32), (400, 380), outside=-1)
    assert grey.shape == (400, 380)
    assert grey.min() == -1


def test_same_answer_every_time():
    """Bit for bit."""
    before, after = view(foam())[0], view(foam(), 12)[0]
    same = ((1.0, 1.0), (1.0, 1.0))
    first, again = (register(before, after, pixel_sizes_um=same, max_rotation_deg=20) for _ in range(2))
    assert np.array_equal(first.matrix, again.matrix)
    assert first.uncertainty_px == again.uncertainty_px


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"before": np.zeros((40, 40))}, "single value"),
        ({"after": np.eye(10)}, "16 x 16"),
        ({"after": np.zeros((20, 20, 3))}, "16 x 16"),
        ({"max_rotation_deg": 0.0}, "max_rotation_deg"),
        ({"max_shift_fraction": 1.5}, "max_shift_fraction"),
    ],
)
def test_nonsense_is_refused(change, says):
    """What cannot be laid over anything."""
    with pytest.raises(ValueError, match=says):
        register(**({"before": np.eye(40), "after": np.eye(40)} | change))
