"""Lines as a graph: every branch once, with the nodes at its ends."""

import numpy as np

from surfscan.segmentation.skeleton_graph import graph_of


def graph_from(rows):
    picture = np.array([[c == "#" for c in row] for row in rows])
    return graph_of(np.flatnonzero(picture), picture.shape)


def described(graph):
    return sorted((len(b.pixels), b.nodes[0] >= 0, b.nodes[1] >= 0, b.closed) for b in graph.branches)


def test_a_line_has_two_free_ends():
    graph = graph_from(["......", ".####.", "......"])
    assert described(graph) == [(4, False, False, False)]
    assert graph.n_nodes == 0


def test_three_arms_meet_in_one_junction():
    graph = graph_from([".......", "...#...", "...#...", ".#####.", "......."])
    assert graph.n_nodes == 1
    assert len(graph.branches) == 3
    assert all(sum(n >= 0 for n in b.nodes) == 1 for b in graph.branches)


def test_a_ring_is_closed_and_a_lone_pixel_is_a_branch():
    ring = graph_from([".....", "..#..", ".#.#.", "..#..", "....."])
    assert described(ring) == [(4, False, False, True)]
    assert described(graph_from(["...", ".#.", "..."])) == [(1, False, False, False)]


def test_a_loop_on_a_junction_is_found_once():
    graph = graph_from(["........", "..##....", ".#..#...", ".#..###.", ".#..#...", "..##....", "........"])
    looped = [b for b in graph.branches if b.nodes[0] >= 0 and b.nodes[0] == b.nodes[1]]
    assert len(looped) == 1
    assert len(graph.branches) == 2


def test_no_pixels_no_branches():
    assert graph_of(np.zeros(0, int), (5, 5)).branches == []
