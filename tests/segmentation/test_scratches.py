"""Which objects go on as a dark band: pieces of a scratch do, pits do not."""

import cv2
import numpy as np
import pytest

from surfscan.segmentation.grouped import components, ellipses
from surfscan.segmentation.scratches import continues_beyond

SHAPE = (160, 200)
STRENGTH = 0.3


def asked(contrast, centres, radius, *, half_length=None, surround=0.0, thickness=None, strength=STRENGTH):
    """Whether objects of one size at `centres` (row, col) go on beyond their outline."""
    rows, cols = np.array(centres, float).T
    same = np.ones(len(centres))
    return continues_beyond(
        contrast,
        np.zeros(contrast.shape, np.uint8) if thickness is None else thickness,
        rows,
        cols,
        radius * same,
        (half_length or radius) * same,
        strength * same,
        surround * same,
    ).tolist()


def scratch(angle_deg, strength=STRENGTH, width=4, shape=SHAPE):
    """Contrast of a scratch through the middle of the picture."""
    along = 110 * np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    middle = np.array([shape[1] / 2, shape[0] / 2])
    drawn = np.zeros(shape, np.float32)
    ends = [tuple(int(v) for v in np.rint(middle + sense * along)) for sense in (-1, 1)]
    cv2.line(drawn, *ends, strength, width)
    return cv2.GaussianBlur(drawn, (0, 0), 1.0)


@pytest.mark.parametrize("angle_deg", [0, 25, 45, 90, 123])
def test_piece_of_a_scratch_goes_on(angle_deg):
    """A compact piece in the middle of a line of its own width, in any direction."""
    assert asked(scratch(angle_deg), [(80, 100)], 2.5, half_length=3) == [True]


def test_end_of_a_scratch_goes_on():
    """One side is enough: the last piece of a scratch still belongs to it."""
    contrast = scratch(0)
    contrast[:, 100:] = 0
    assert asked(cv2.GaussianBlur(contrast, (0, 0), 1.0), [(80, 97)], 2.5, half_length=3) == [True]


def test_pieces_of_a_broken_scratch_go_on():
    """A scratch that fades to under the limit between its pieces is still there."""
    contrast = scratch(0, strength=0.2)
    pieces = [(80, col) for col in (40, 75, 110, 150)]
    for row, col in pieces:
        contrast[row - 2 : row + 3, col - 3 : col + 4] = STRENGTH
    assert asked(cv2.GaussianBlur(contrast, (0, 0), 0.7), pieces, 2.5, half_length=4) == [True] * 4


@pytest.mark.parametrize("radius", [2.5, 5, 12])
def test_isolated_pit_does_not_go_on(draw_discs, radius):
    """Beyond a pit there is metal."""
    assert asked(draw_discs(SHAPE, [(80, 100, radius, STRENGTH)]), [(80, 100)], radius) == [False]


def test_noise_is_no_scratch(draw_discs):
    """Noise of a fifth of the pits' contrast continues none of 48 pits."""
    centres = [(row, col) for row in range(15, 160, 26) for col in range(12, 200, 25)]
    contrast = draw_discs(SHAPE, [(*c, 4, STRENGTH) for c in centres])
    noise = np.random.default_rng(1).normal(0, 1, SHAPE).astype(np.float32)
    noise = cv2.GaussianBlur(noise, (0, 0), 1.0)
    contrast = contrast + noise * np.float32(0.2 * STRENGTH / noise.std())
    assert len(centres) == 48
    assert not any(asked(contrast, centres, 4))


@pytest.mark.parametrize("gap", [2, 6, 12])
def test_two_equal_pits_do_not_continue_each_other(draw_discs, gap):
    """A neighbour is no band, however near."""
    centres = [(80, 80), (80, 88 + gap)]
    assert asked(draw_discs(SHAPE, [(*c, 4, STRENGTH) for c in centres]), centres, 4) == [False, False]


def test_thicker_neighbour_is_no_continuation(draw_discs):
    """An elongated pit, twice as thick, in line with a small one: as a band of that contrast it would be."""
    contrast = draw_discs(SHAPE, [(80, 60, 2.5, STRENGTH)])
    neighbour = draw_discs(SHAPE, [(80, col, 5, STRENGTH) for col in range(70, 90)])
    both = np.maximum(contrast, neighbour)
    thickness = np.where(neighbour > STRENGTH / 2, 5, 0).astype(np.uint8)
    assert asked(both, [(80, 60)], 2.5) == [True]
    assert asked(both, [(80, 60)], 2.5, thickness=thickness) == [False]
    assert asked(both, [(80, 60)], 2.5, thickness=np.minimum(thickness, 3)) == [True]


def test_scratch_beside_a_pit_is_not_its_continuation(draw_discs):
    """A scratch that passes a pit by does not make a scratch of it."""
    contrast = np.maximum(draw_discs(SHAPE, [(60, 100, 6, STRENGTH)]), scratch(0))
    assert asked(contrast, [(60, 100)], 6) == [False]


def test_faint_scratch_through_a_dark_pit_does_not_make_it_one(draw_discs):
    """What goes on beyond must be about as dark as the object: here a sixth."""
    contrast = np.maximum(draw_discs(SHAPE, [(80, 100, 4, STRENGTH)]), scratch(0, strength=0.05, width=8))
    assert asked(contrast, [(80, 100)], 4) == [False]


def test_dark_area_all_round_is_no_band(draw_discs):
    """A stain round a pit is dark on both flanks too."""
    contrast = draw_discs(SHAPE, [(80, 100, 60, 0.2)])
    contrast = np.maximum(contrast, draw_discs(SHAPE, [(80, 100, 4, STRENGTH)]))
    assert asked(contrast, [(80, 100)], 4) == [False]


def test_contrast_is_taken_against_the_surroundings(draw_discs):
    """A level that is off everywhere does not continue a pit, and does not hide a scratch."""
    pit = draw_discs(SHAPE, [(80, 100, 4, STRENGTH)])
    assert asked(pit + np.float32(0.2), [(80, 100)], 4, surround=0.2) == [False]
    assert asked(scratch(30) - np.float32(0.1), [(80, 100)], 2.5, half_length=3, surround=-0.1) == [True]


def test_picture_edges(draw_discs):
    """Beyond the picture there is no scratch, and no error; a scratch that leaves the picture is one."""
    corners = [(2, 2), (2, 197), (157, 2), (157, 197), (80, 0)]
    assert not any(asked(draw_discs(SHAPE, [(*c, 4, STRENGTH) for c in corners]), corners, 4))
    assert asked(scratch(0), [(80, 2), (80, 197)], 2.5, half_length=3) == [True, True]


def test_each_object_is_asked_alone(draw_discs):
    """Many at once give the same answers as one at a time."""
    centres = [(30, 40), (80, 60), (80, 130), (130, 160), (120, 20)]
    contrast = np.maximum(scratch(0), draw_discs(SHAPE, [(*c, 3, STRENGTH) for c in centres]))
    together = asked(contrast, centres, 3)
    assert together == [asked(contrast, [c], 3)[0] for c in centres]
    assert together == [False, True, True, False, False]


def test_objects_as_they_are_found(draw_discs):
    """With sizes from the objects' own moments, as the pit finder hands them over."""
    contrast = draw_discs(SHAPE, [(40, 60, 5, STRENGTH)])
    contrast = np.maximum(contrast, np.where(np.arange(200) % 24 < 8, 1, 0.5).astype(np.float32) * scratch(0))
    n, labels = components(contrast > 0.2)
    form = ellipses(labels, n)
    assert n == 10
    goes_on = continues_beyond(
        contrast,
        np.zeros(SHAPE, np.uint8),
        form.row[1:],
        form.col[1:],
        form.half_width[1:],
        form.half_length[1:],
        np.full(n, STRENGTH),
        np.zeros(n),
    )
    assert goes_on.tolist() == [False] + [True] * 9


def test_nobody_asked():
    """No objects, no answers."""
    none = np.zeros(0)
    assert (
        continues_beyond(scratch(0), np.zeros(SHAPE, np.uint8), none, none, none, none, none, none).size == 0
    )
