"""Edges along rays: sub-pixel, at the level asked for, with uncertainties that hold."""

import cv2
import numpy as np
import pytest

from surfscan.measurement.edge_profiles import Rays, find_edges, mask_edges, product_levels
from surfscan.segmentation.silhouette import find_silhouette

FRAME = (0, 200, 0, 300)


def bar_picture(half_width, *, noise=0.0, blur=1.0, product=(0.0, 0.0)):
    """A dark bar along the rows around row 100: area-sampled by a fine grid, then blurred."""
    fine = (np.arange(200 * 20) + 0.5) / 20 - 0.5
    share = (np.abs(fine - 100) < half_width).astype(float)
    share += product[1] * ((np.abs(fine - 100) < half_width + product[0]) - share)
    column = share.reshape(200, 20).mean(axis=1)
    grey = cv2.GaussianBlur(np.repeat(200 - 160 * column[:, None], 300, axis=1), (0, 0), blur)
    return (grey + np.random.default_rng(0).normal(0, noise, grey.shape)).astype(np.float32)


def rays_across(shape, radius):
    """Rays downwards from row 100, at every second column."""
    col = np.arange(20.0, shape[1] - 20, 2)
    one, none = np.ones(len(col)), np.zeros(len(col))
    return Rays(100 * one, col, one, none, none, one, radius * one, one.astype(int))


def found_edges(half_width, noise=0.0, blur=1.0, **given):
    grey = bar_picture(half_width, noise=noise, blur=blur, **given)
    silhouette = find_silhouette(grey)
    rays = rays_across(grey.shape, radius=half_width)
    start = mask_edges(silhouette.solid, rays)
    return find_edges(silhouette.grey, silhouette.levels, rays, start, FRAME), start


@pytest.mark.parametrize("half_width", [10.0, 10.3, 10.5, 10.77, 30.25])
def test_edges_lie_at_half_level(half_width):
    edges, start = found_edges(half_width)
    assert edges.distance == pytest.approx(half_width, abs=0.03)
    assert start == pytest.approx(half_width, abs=1.0)
    assert not edges.product.any()


@pytest.mark.parametrize("blur", [0.6, 1.5])
def test_scatter_is_what_was_stated(blur):
    edges, _ = found_edges(20.4, noise=6.0, blur=blur)
    error = edges.distance - 20.4
    assert np.std(error) / np.median(edges.uncertainty) == pytest.approx(1.0, abs=0.25)
    assert np.mean(error) == pytest.approx(0, abs=0.05)


def test_a_blurred_edge_moves_more_with_the_level():
    sharp, soft = (found_edges(20.4, blur=b)[0].level_shift for b in (0.6, 2.0))
    assert np.median(soft) > 2 * np.median(sharp)


def test_product_of_a_grey_of_its_own_is_taken_off():
    edges, _ = found_edges(20.0, noise=2.0, product=(8.0, 0.4))
    assert edges.product[5:-5].all()
    assert np.mean(edges.distance[5:-5]) == pytest.approx(20, abs=0.15)


def test_a_shelf_in_the_profile_is_product_and_an_edge_is_not():
    t = np.arange(-10, 10.25, 0.5)
    edge = 0.5 * (1 - np.tanh(t))
    shelf = 0.5 * (1 - np.tanh(t)) * 0.6 + 0.2 * (1 - np.tanh(t - 8))
    profiles = np.tile(shelf, (20, 1)).astype(np.float32)
    assert product_levels(profiles, np.ones(20, int)) == pytest.approx(0.4, abs=0.03)
    profiles = np.tile(edge, (20, 1)).astype(np.float32)
    assert np.isnan(product_levels(profiles, np.ones(20, int))).all()


def test_an_edge_outside_the_field_is_missing():
    grey = bar_picture(20.0)
    silhouette = find_silhouette(grey)
    rays = rays_across(grey.shape, radius=20.0)
    start = mask_edges(silhouette.solid, rays)
    edges = find_edges(silhouette.grey, silhouette.levels, rays, start, (0, 110, 0, 300))
    assert np.isnan(edges.distance).all()
    assert edges.beyond_frame.all()


def test_no_edge_in_reach_is_not_a_number():
    full = np.ones((200, 300), bool)
    assert np.isnan(mask_edges(full, rays_across(full.shape, radius=5.0))).all()
    gap = cv2.circle(np.ones((200, 300), np.uint8), (150, 20), 5, 0, -1).astype(bool)
    assert np.isnan(mask_edges(gap, rays_across(full.shape, radius=5.0))).all()
