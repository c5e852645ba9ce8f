"""Depth statistics against published figures."""

import numpy as np
import pytest

from surfscan.estimates.depths import censored_quantile
from surfscan.estimates.g46 import depth_class

# Remission of 21 patients on 6-mercaptopurine, weeks; + marks censored times: 6 6 6 6+ 7 9+ 10 10+ 11+ 13
# 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+ (Freireich et al., Blood 21 (1963) 699; the classic example of the
# product-limit estimate: S(6) 0.857, S(7) 0.807, S(10) 0.753, S(13) 0.690, S(16) 0.627, S(22) 0.538,
# S(23) 0.448, median 23). From memory.
WEEKS = np.array([6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35], float)
CENSORED = np.array([0, 0, 0, 1, 0, 1, 0, 1, 1, 0, 0, 1, 1, 1, 0, 0, 1, 1, 1, 1, 1], bool)


@pytest.mark.parametrize(
    ("share", "weeks"), [(0.14, 6), (0.19, 7), (0.24, 10), (0.30, 13), (0.37, 16), (0.46, 22), (0.5, 23)]
)
def test_product_limit_quantiles(share, weeks):
    assert censored_quantile(WEEKS, CENSORED, share) == weeks


def test_what_the_censored_hide_is_not_reached():
    assert censored_quantile(WEEKS, CENSORED, 0.56) is None


# ASTM G46 Fig. 2, column C, mm, from memory; the worked rating A-3, B-2, C-3 has a mean depth of 1.6 mm.
@pytest.mark.parametrize(("mm", "rating"), [(0.4, "C1"), (0.8, "C2"), (1.6, "C3"), (3.2, "C4"), (6.4, "C5")])
def test_depth_classes_of_the_chart(mm, rating):
    assert depth_class(mm * 1000) == rating


def test_pits_of_thin_parts_lie_below_the_chart():
    assert depth_class(12.0) == "below C1 (outside chart)"
