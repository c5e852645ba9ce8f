"""Changes from touched pixels are those of comparing the whole masks."""

import numpy as np
import pytest

from surfscan.corrections.changes import compare_label_images
from surfscan.corrections.pit_changes import changes_of
from surfscan.corrections.pit_review import PitReview


@pytest.mark.parametrize("seed", range(5))
def test_as_comparing_the_whole_masks(plate, seed):
    image, result = plate
    review = PitReview.start(image, result)
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[: image.shape[0], : image.shape[1]]
    for _ in range(12):
        spot = np.nonzero((y - rng.integers(140)) ** 2 + (x - rng.integers(170)) ** 2 < rng.integers(4, 200))
        living = [k for k, said in review.status.items() if said != "rejected"]
        number = int(rng.choice(living))
        if rng.random() < 0.3:
            review.reject([number])
        elif rng.random() < 0.3:
            review.add(*spot)
        else:
            review.repaint(number, *spot, bool(rng.integers(2)))
    changes = changes_of(review._state, review._done)
    assert changes.any
    assert changes == compare_label_images(result.masks["pits"], review.corrected_labels())
