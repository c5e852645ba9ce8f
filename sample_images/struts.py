"""Pictures of the demo specimens' struts: silhouettes whose edges follow each specimen's own loss.

Every strut is two edge lines beside a centreline, so that its true width is known at every place before
anything is painted: the drawn width less what was attacked on either side. The picture shares each pixel out
exactly, then come light, optics and camera.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "benchmarks"))

import synthetic
from specimens import COATED, REFERENCE, UNCOATED, Series, Specimen, stream
from synthetic_struts import coverage

WIDTH_UM, THICKNESS_UM = 400.0, 300.0  # as drawn
FILLET_UM = 60.0  # radius in the corners between crossing struts, as drawn
PITCH_UM = 1400.0  # of the mesh
STEP_UM = 2.0  # between points of an edge line
STUB_UM = 170.0  # what is left at the node of a strut that is gone; it tapers to nothing
PRODUCT_UM = 28.0  # mean thickness of product where it clings to an edge
EDGE_WAVE_UM = 0.7  # waviness of the edges as cut
UNEVENNESS: dict[Series, tuple[float, float, float]] = {
    UNCOATED: (0.13, 0.09, 0.035),
    COATED: (0.10, 0.06, 0.03),
    REFERENCE: (0.0, 0.0, 0.0),
}
"""Spread of the attack along an edge over its mean: along 180, 55 and 16 µm."""


@dataclass(frozen=True)
class StrutPicture:
    """One picture of struts to be taken.

    Attributes
    ----------
    specimen : Specimen
    layout : str
        "strut" (one, slightly bent), "crossing" (two of them), "mesh", or "side" (one, seen across).
    shape : (int, int)
        Rows and columns.
    pixel_size_um : float
    reflected : bool
        In reflected light, light on dark; else in front of a lamp, dark on light.
    with_product : bool
        Product clings to the edges.
    unexposed : bool
        The same part before exposure.
    """

    specimen: Specimen
    layout: str
    shape: tuple[int, int]
    pixel_size_um: float
    reflected: bool = False
    with_product: bool = False
    unexposed: bool = False

    @property
    def loss_um(self) -> float:
        """Mean penetration on every side when the picture was taken."""
        return 0.0 if self.unexposed else self.specimen.loss_um


@dataclass(frozen=True)
class Strut:
    """One strut in the coordinates of the part, µm.

    Attributes
    ----------
    line, normal : ndarray of shape (n, 2)
        Centreline as drawn and its normal, (row, col).
    left, right : ndarray of shape (n,)
        Distance of both edges from it.
    counts : ndarray of shape (n,), bool
        False beside a junction, and where a broken strut tapers.
    before : Strut or None
        The same places before exposure, where a picture shows them.
    """

    line: np.ndarray
    normal: np.ndarray
    left: np.ndarray
    right: np.ndarray
    counts: np.ndarray
    before: Strut | None = None

    @property
    def width_um(self) -> np.ndarray:
        """True width at every place."""
        return self.left + self.right

    def outline(self) -> np.ndarray:
        """Corners of the strut, first along its left edge and back along its right one, (2 n, 2)."""
        left = self.line + self.left[:, None] * self.normal
        right = self.line - self.right[:, None] * self.normal
        return np.concatenate([left, right[::-1]])


def paint(picture: StrutPicture) -> tuple[np.ndarray, dict[str, float]]:
    """The picture, uint8 of shape (M, N), and the true figures of its struts.

    True are the widths of the edge lines across the centreline as drawn, where both edges lie in the picture
    and no junction is near (see `junction_um`). Means weigh every place alike. In a mesh the means are those
    of the metal that stands; its least width lies in a broken end, where no figure is true of the strut, and
    is left out.
    """
    struts, nodes = part_of(picture)
    place = _placement(picture)
    share = coverage([place(s.outline()) for s in struts] + [place(node) for node in nodes], picture.shape)
    rng = stream(picture.specimen.id, "struts", _name(picture), "camera")
    cover = np.zeros(picture.shape, np.float32)
    if picture.with_product:
        cover = _clinging(rng, picture, share)
    return _expose(rng, picture, share, cover), _truth(picture, struts, place)


def part_of(picture: StrutPicture) -> tuple[list[Strut], list[np.ndarray]]:
    """Struts of the part, and the outlines of its nodes, µm."""
    if picture.layout in ("strut", "side"):
        return [_bent_strut(picture)], []
    reach = 0.5 * picture.pixel_size_um * float(np.hypot(*picture.shape)) + WIDTH_UM
    if picture.layout == "crossing":
        lines = [("across", (0.0, 0.0), (0.0, 1.0), reach), ("along", (0.0, 0.0), (1.0, 0.0), reach)]
        struts = [
            _straight_strut(picture, name, start, sign * np.array(way), length)
            for name, start, way, length in lines
            for sign in (-1, 1)
        ]
        return struts, [_node(picture)]
    return _mesh(picture, int(np.ceil(reach / PITCH_UM)))


def junction_um(loss_um: float) -> float:
    """Distance from the middle of a crossing within which no width is true.

    It holds the fillets and the circle inscribed between them, and 15 µm more.
    """
    tangent = 0.5 * WIDTH_UM + FILLET_UM  # the loss moves edge and fillet, not the place where they meet
    return max(tangent, float(np.sqrt(2)) * tangent - FILLET_UM - loss_um) + 15


def _name(picture: StrutPicture) -> str:
    return picture.layout + ("/before" if picture.unexposed else "")


def _wander(rng: np.random.Generator, n: int, scale_um: float) -> np.ndarray:
    """A line of n points with unit spread, smooth over `scale_um`."""
    sigma = scale_um / STEP_UM
    half = int(np.ceil(4 * sigma))
    kernel = np.exp(-0.5 * (np.arange(-half, half + 1) / sigma) ** 2)
    return np.convolve(rng.standard_normal(n + 2 * half), kernel / np.sqrt((kernel**2).sum()), "valid")


def _notches_per_mm(specimen: Specimen) -> float:
    """Notches along an edge: they come with the loss, at holes in a coating sooner."""
    most = {UNCOATED: 1.3, COATED: 0.6, REFERENCE: 0.0}[specimen.series]
    return most * (1 - float(np.exp(-specimen.loss_um / 40)))


def _attacked(rng: np.random.Generator, picture: StrutPicture, n: int) -> tuple[np.ndarray, np.ndarray]:
    """What the cutting left too little along one edge, µm, and the attack there over the mean one: on average
    1, a few parts in a hundred more or less."""
    specimen = picture.specimen
    spread = UNEVENNESS[specimen.series]
    attack = np.ones(n)
    for share, scale_um in zip(spread, (180.0, 55.0, 16.0), strict=True):
        attack += share * _wander(rng, n, scale_um)
    attack = np.maximum(attack, 0.2)
    s = np.arange(n) * STEP_UM
    for _ in range(int(rng.poisson(_notches_per_mm(specimen) * n * STEP_UM / 1000))):
        at, half, deep = rng.uniform(0, s[-1]), rng.uniform(22, 50), rng.uniform(0.45, 1.0)
        skew = np.where(s < at, 1.0, rng.uniform(0.7, 1.4))
        attack += deep * np.exp(-((np.abs(s - at) / (half * skew)) ** 2.6))
    local = float(np.exp(0.03 * rng.standard_normal()))
    return EDGE_WAVE_UM * _wander(rng, n, 30.0), local * attack / attack.mean()


def _bent_strut(picture: StrutPicture) -> Strut:
    """One strut through the whole picture, with a slight bend."""
    rng = stream(picture.specimen.id, "struts", picture.layout)
    bend_per_um = rng.choice([-1, 1]) / rng.uniform(6000, 20000)
    reach = 0.5 * picture.pixel_size_um * float(np.hypot(*picture.shape)) + WIDTH_UM
    t = np.arange(-reach, reach, STEP_UM)
    angle = t * bend_per_um
    line = np.stack([(1 - np.cos(angle)) / bend_per_um, np.sin(angle) / bend_per_um], axis=1)
    normal = np.stack([-np.cos(angle), np.sin(angle)], axis=1)
    half = (THICKNESS_UM if picture.layout == "side" else WIDTH_UM) / 2
    left, right = (
        half - wave - picture.loss_um * attack
        for wave, attack in (_attacked(rng, picture, len(t)) for _ in range(2))
    )
    return Strut(line, normal, left, right, np.ones(len(t), bool))


def _straight_strut(
    picture: StrutPicture,
    name: str,
    start: tuple[float, float] | np.ndarray,
    way: np.ndarray,
    length_um: float,
    *,
    ends_at_node: bool = False,
) -> Strut:
    """A strut from a node outwards, to another node or out of the picture."""
    sign = "plus" if way.sum() > 0 else "minus"
    rng = stream(picture.specimen.id, "struts", picture.layout, name, sign)
    s = np.arange(0, length_um + STEP_UM / 2, STEP_UM)
    near = np.minimum(s, s[-1] - s) if ends_at_node else s
    line = np.asarray(start) + s[:, None] * way
    normal = np.broadcast_to(np.array([-way[1], way[0]]), line.shape)
    edges = [_attacked(rng, picture, len(s)) for _ in range(2)]

    def after(loss_um: float, before: Strut | None = None) -> Strut:
        reach = junction_um(loss_um)
        calm = np.clip((near - reach + 15) / 60, 0, 1)  # at 0 the attack is the mean one: the nodes fit on
        left, right = (
            WIDTH_UM / 2 - loss_um - calm * (wave + loss_um * (attack - 1)) for wave, attack in edges
        )
        return Strut(line, normal, left, right, near > reach, before)

    return after(0.0) if picture.unexposed else after(picture.loss_um, after(0.0))


def _node(picture: StrutPicture, at: tuple[float, float] = (0.0, 0.0)) -> np.ndarray:
    """Outline of a crossing with its four fillets, which the loss makes wider."""
    half, fillet = 0.5 * WIDTH_UM - picture.loss_um, FILLET_UM + picture.loss_um
    t = np.linspace(0, np.pi / 2, 24)
    arc = np.stack([half + fillet * (1 - np.sin(t)), half + fillet * (1 - np.cos(t))], axis=1)
    round_it = (arc * (1, 1), arc[::-1] * (-1, 1), arc * (-1, -1), arc[::-1] * (1, -1))
    return np.concatenate(round_it) + at


def _mesh(picture: StrutPicture, reach: int) -> tuple[list[Strut], list[np.ndarray]]:
    """A square mesh. After exposure one strut has gone but for its stubs and another is broken."""
    struts, nodes = [], []
    for i in range(-reach, reach + 1):
        for j in range(-reach, reach + 1):
            at = (PITCH_UM * (i - 0.5), PITCH_UM * (j - 0.5))
            nodes.append(_node(picture, at))
            for way in ((0.0, 1.0), (1.0, 0.0)):
                name = f"{i}/{j}/{way[0]:.0f}"
                whole = _straight_strut(picture, name, at, np.array(way), PITCH_UM, ends_at_node=True)
                gap = None if picture.unexposed else LOST.get((i, j, int(way[0])))
                struts += [whole] if gap is None else _broken(whole, *gap)
    return struts, nodes


LOST = {(0, 0, 0): (STUB_UM + 130, PITCH_UM - STUB_UM - 150), (1, 0, 1): (610.0, 760.0)}
"""Row and column of a node of the mesh, 1 for down and 0 for across -> stretch of that strut that is gone."""


def _broken(strut: Strut, start_um: float, stop_um: float) -> list[Strut]:
    """What is left of a strut on either side of a gap: it tapers towards it over `STUB_UM`."""
    s = np.arange(len(strut.left)) * STEP_UM
    parts = []
    for keep, left_um in ((s <= start_um, start_um - s), (s >= stop_um, s - stop_um)):
        taper = np.clip(left_um / STUB_UM, 0, 1) ** 0.6
        tapered = replace(
            strut,
            left=strut.left * taper,
            right=strut.right * taper**0.7,
            counts=strut.counts & (left_um > STUB_UM),
        )
        parts.append(_stretch(tapered, keep))
    return parts


def _stretch(strut: Strut, keep: np.ndarray) -> Strut:
    """The part of a strut at the places kept."""
    return Strut(
        strut.line[keep],
        strut.normal[keep],
        strut.left[keep],
        strut.right[keep],
        strut.counts[keep],
        None if strut.before is None else _stretch(strut.before, keep),
    )


class _Placed:
    """How the part lies in the picture: turn about the middle, then shift."""

    def __init__(self, picture: StrutPicture, turn_deg: float, shift_px: np.ndarray) -> None:
        turn = np.radians(turn_deg)
        self.matrix = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        self.middle = (np.array(picture.shape) - 1) / 2 + shift_px
        self.pixel_size_um = picture.pixel_size_um

    def __call__(self, points_um: np.ndarray) -> np.ndarray:
        """Row and column in px, (n, 2)."""
        return points_um @ self.matrix.T / self.pixel_size_um + self.middle


def _placement(picture: StrutPicture) -> _Placed:
    """A new one for every picture; the part before exposure lies almost as after it."""
    rng = stream(picture.specimen.id, "struts", picture.layout, "place")
    widest = {"strut": 50.0, "side": 12.0, "crossing": 40.0, "mesh": 9.0}[picture.layout]
    turn, shift = rng.uniform(-widest, widest), rng.uniform(-12, 12, 2)
    if picture.unexposed:
        turn, shift = turn + rng.uniform(1.5, 3.0), shift + rng.uniform(-9, 9, 2)
    return _Placed(picture, float(turn), shift)


def _truth(picture: StrutPicture, struts: list[Strut], place: _Placed) -> dict[str, float]:
    """Figures over all places that are seen; loss against a picture before over those seen on both."""
    seen = [_seen(strut, picture, place) for strut in struts]
    width = np.concatenate([s.width_um[at] for s, at in zip(struts, seen, strict=True)])
    truth = {"mean_width_um": float(width.mean())}
    if picture.layout != "mesh":
        truth["min_width_um"] = float(width.min())
    truth["loss_fraction"] = 1 - float(width.mean()) / WIDTH_UM
    if any(s.before is not None for s in struts):
        unexposed = replace(picture, unexposed=True)
        place_before = _placement(unexposed)
        sums = np.zeros(2)
        for strut, at in zip(struts, seen, strict=True):
            assert strut.before is not None  # of one part all or none have it
            both = at & _seen(strut.before, unexposed, place_before)
            sums += strut.width_um[both].sum(), strut.before.width_um[both].sum()
        truth["loss_fraction"] = 1 - float(sums[0] / sums[1])
    if picture.layout != "mesh":
        lost = (WIDTH_UM - float(width.min())) / 2
        section = (WIDTH_UM - 2 * lost) * (THICKNESS_UM - 2 * lost)
        truth["least_section_equal_loss_fraction"] = section / (WIDTH_UM * THICKNESS_UM)
    return truth


def _seen(strut: Strut, picture: StrutPicture, place: _Placed) -> np.ndarray:
    """Places that count and whose two edges lie in the picture, (n,)."""
    n = len(strut.left)
    edges = place(strut.outline())
    inside = ((edges >= 0) & (edges <= np.array(picture.shape) - 1)).all(axis=1)
    return strut.counts & inside[:n] & inside[n:][::-1]


def stand_on_stage(
    specimen: Specimen, shape: tuple[int, int], pixel_size_um: float, step_um: float
) -> np.ndarray:
    """Height map of a piece of strut that lies flat on a stage, µm in steps of `step_um`.

    Its top stands by the drawn thickness less twice the loss above the stage on average. The walls are too
    steep to be measured.
    """
    rng = stream(specimen.id, "struts", "stage")
    rows, cols = shape
    loss = specimen.loss_um
    edges = [loss * (1 + 0.13 * _wander(rng, cols, 180 * STEP_UM / pixel_size_um)) for _ in range(2)]
    half = WIDTH_UM / 2 / pixel_size_um
    row = np.arange(rows)[:, None] - rows / 2
    inside = (row > edges[0] / pixel_size_um - half) & (row < half - edges[1] / pixel_size_um)
    top = 1.2 * synthetic.smooth_noise(rng, shape, 5.0, 1.0) + 0.5 * synthetic.smooth_noise(
        rng, shape, 1.5, 1.0
    )
    top += THICKNESS_UM - 2 * loss - float(top[inside].mean())
    heights = np.where(inside, top, 0.0) + step_um * rng.standard_normal(shape)
    near = cv2.dilate(inside.astype(np.uint8), np.ones((5, 1), np.uint8)) != cv2.erode(
        inside.astype(np.uint8), np.ones((3, 1), np.uint8)
    )
    heights = heights + 0.012 * np.arange(cols) * pixel_size_um + 0.008 * row * pixel_size_um
    lost = (near & (rng.random(shape) < 0.9)) | (rng.random(shape) < 0.01)
    return np.where(lost, np.nan, np.rint(heights / step_um) * step_um)


def _clinging(rng: np.random.Generator, picture: StrutPicture, share: np.ndarray) -> np.ndarray:
    """Product beside the metal, 0 to 1: a ragged layer along stretches of the edges."""
    off_um = picture.pixel_size_um * cv2.distanceTransform(
        (share < 0.5).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE
    )
    thick_um = PRODUCT_UM * (
        1.0
        + 0.9 * synthetic.smooth_noise(rng, picture.shape, 70 / picture.pixel_size_um, 1.0)
        + 0.2 * synthetic.smooth_noise(rng, picture.shape, 9 / picture.pixel_size_um, 1.0)
    )
    thick_um = np.where(thick_um < 0.6 * PRODUCT_UM, 0, np.minimum(thick_um, 1.8 * PRODUCT_UM))
    layer = np.clip((thick_um - off_um) / picture.pixel_size_um + 0.5, 0, 1)
    return np.clip(layer - share, 0, 1) * (off_um < 2 * PRODUCT_UM)


def _expose(
    rng: np.random.Generator, picture: StrutPicture, share: np.ndarray, cover: np.ndarray
) -> np.ndarray:
    """Light, optics and camera."""
    shape = picture.shape
    coarse = synthetic.smooth_noise(rng, shape, 9.0, 1.0)
    fine = synthetic.smooth_noise(rng, shape, 1.6, 1.0)
    lines = synthetic.machining_lines(rng, shape, 0.4)
    if picture.reflected:
        outside = 24 + 2.0 * synthetic.smooth_noise(rng, shape, 40.0, 1.0)
        inside = 158 * synthetic.grain_pattern(rng, shape, 0.02)
        dull = 1 - float(np.exp(-picture.loss_um / 50))
        inside = inside * (1 + 0.02 * lines + dull * (0.05 * coarse + 0.03 * fine))
        inside = inside * (1 - _spots(rng, picture))
    else:
        outside = 208 * _dust(rng, shape)
        inside = 37 + 2.5 * coarse + 0.8 * fine + 1.2 * lines
    step = inside - outside
    grey = outside + step * share + 0.3 * step * cover * (1 + 0.1 * coarse)
    grey = grey * synthetic.light_field(rng, shape, rng.uniform(0.08, 0.18))
    sharp = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), rng.uniform(0.75, 1.05))
    grey = 0.95 * sharp + 0.05 * cv2.GaussianBlur(sharp, (0, 0), 5.0)  # stray light in the lens
    grey = grey + 0.5 * rng.standard_normal(shape, dtype=np.float32)
    return np.clip(np.rint(grey), 0, 255).astype(np.uint8)


def _spots(rng: np.random.Generator, picture: StrutPicture) -> np.ndarray:
    """Small dark pits on the face of a strut in reflected light, depth 0 to 1."""
    spots = np.zeros(picture.shape, np.float32)
    area_mm2 = spots.size * picture.pixel_size_um**2 / 1e6
    for _ in range(int(rng.poisson(min(picture.specimen.pit_density_per_mm2, 250) * area_mm2))):
        row, col = (rng.uniform(0, s) for s in picture.shape)
        radius = rng.lognormal(np.log(4.0), 0.35) / picture.pixel_size_um
        centre = (int(16 * col), int(16 * row))
        cv2.circle(spots, centre, max(8, int(16 * radius)), rng.uniform(0.15, 0.4), -1, cv2.LINE_AA, 4)
    return spots


def _dust(rng: np.random.Generator, shape: tuple[int, int]) -> np.ndarray:
    """A few soft shadows of dust on the lamp's glass, 1 where there is none."""
    light = np.ones(shape, np.float32)
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    for _ in range(int(rng.integers(2, 6))):
        row, col, radius = rng.uniform(0, shape[0]), rng.uniform(0, shape[1]), rng.uniform(5, 18)
        light *= 1 - np.float32(rng.uniform(0.01, 0.035)) * np.exp(
            -((((y - row) ** 2 + (x - col) ** 2) / radius**2) ** 2)
        )
    return light
