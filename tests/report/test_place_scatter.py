"""Scatter of loss along struts."""

from types import SimpleNamespace

import numpy as np
import pytest

from surfscan.columns import empty_table
from surfscan.report.place_scatter import correlation_length, place_scatter


def table(name, n, **columns):
    out = {
        c: np.zeros(n, v.dtype) if v.dtype.kind != "f" else np.full(n, np.nan)
        for c, v in empty_table(name).items()
    }
    return out | columns


class Picture:
    """A picture of struts by the widths along each of them."""

    def __init__(self, *struts, reference=400.0):
        k = len(struts)
        self.tables = {
            "struts": table(
                "struts",
                k,
                strut=np.arange(1, k + 1),
                condition=np.full(k, "whole"),
                mean_width_px=np.ones(k),
                reference_width_um=np.full(k, reference),
            ),
            "stations": table(
                "stations",
                sum(map(len, struts)),
                strut=np.repeat(np.arange(1, k + 1), [len(s) for s in struts]),
                fault=np.full(sum(map(len, struts)), "", "U8"),
                width_um=np.concatenate(struts),
            ),
        }

    def table(self, name):
        return self.tables[name]

    def figure(self, *_):
        return float("nan")

    def interval(self, *_):
        return float("nan"), float("nan")

    def text(self, *_):
        return ""


def of(*pictures):
    return place_scatter(SimpleNamespace(pooled={"struts": list(pictures)}))


def test_independent_places():
    rng = np.random.default_rng(1)
    loss = rng.normal(20, 3, 4000)
    found = of(Picture(400 - 2 * loss))
    assert found.mean_um == pytest.approx(loss.mean()) and found.deviation_um == pytest.approx(loss.std())
    assert found.mean_uncertainty_um == pytest.approx(3 / np.sqrt(4000), rel=0.2)


def test_between_struts():
    found = of(Picture(np.full(50, 360.0), np.full(50, 350.0), np.full(50, 340.0)))
    assert (found.struts, found.mean_um, found.degrees_of_freedom) == (3, 25.0, 2.0)
    assert found.mean_uncertainty_um == pytest.approx(5 / np.sqrt(3))


def test_nothing_to_compare_with():
    assert of() is None
    assert of(Picture(np.full(50, 360.0), reference=np.nan)) is None


def test_correlation_length():
    """A moving average over k places makes about k of them one."""
    rng = np.random.default_rng(2)
    white = rng.normal(size=20_000)
    assert correlation_length(white) == pytest.approx(1, abs=0.3)
    assert correlation_length(np.convolve(white, np.ones(10), "valid")) == pytest.approx(10, rel=0.3)
    assert correlation_length(np.ones(5)) == 1
