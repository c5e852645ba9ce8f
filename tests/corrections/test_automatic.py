import numpy as np
import pytest

from surfscan.corrections.automatic import mask_of
from surfscan.corrections.pit_review import PitReview
from surfscan.errors import InputError
from surfscan.store.results import ResultsStore


def test_fresh_and_stored_results_begin_the_same_review(pitted_field, tmp_path):
    image, fresh = pitted_field
    store = ResultsStore(tmp_path)
    store.save("plate.png", "S1", "f" * 64, fresh)
    (stored,) = store.done()
    for name in ("pits", "region"):
        np.testing.assert_array_equal(mask_of(stored, name) != 0, mask_of(fresh, name) != 0)
    reviews = [PitReview.start(image, result) for result in (fresh, stored)]
    rows, cols = np.mgrid[55:63, 112:122]
    tallies = [(review.reject([1]).tally, review.add(rows, cols).tally) for review in reviews]
    assert tallies[0] == tallies[1]
    for name, values in reviews[0].rows().items():
        np.testing.assert_array_equal(values, reviews[1].rows()[name], name)
    with pytest.raises(KeyError):
        mask_of(fresh, "edges")
    next(iter(stored.mask_paths.values())).write_bytes(b"changed")
    with pytest.raises(InputError, match="changed"):
        PitReview.start(image, stored)
