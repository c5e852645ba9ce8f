"""What tests of several rooms share: a small picture with known pits."""

from collections.abc import Callable, Iterable
from pathlib import Path

import cv2
import numpy as np
import pytest

from surfscan.measurement.stations import Stations

PITS = ((60, 70, 12), (60, 180, 9), (150, 100, 15), (170, 220, 11))
"""Centre row, centre column and radius of each pit, px."""


@pytest.fixture(scope="session")
def pitted() -> np.ndarray:
    """A grey plate of 240 x 300 px with four clear dark pits and a little noise, uint8."""
    rows, cols = np.mgrid[:240, :300]
    grey = np.full(rows.shape, 180.0)
    for row, col, radius in PITS:
        distance = np.hypot(rows - row, cols - col)
        grey -= 120 / (1 + np.exp(2 * (distance - radius)))
    noise = np.random.default_rng(7).normal(0, 3, grey.shape)
    return np.clip(np.rint(grey + noise), 0, 255).astype(np.uint8)


@pytest.fixture(scope="session")
def draw_discs() -> Callable[..., np.ndarray]:
    """Function that draws round dark spots (row, col, radius, contrast) as a contrast image, float32.

    Pixels on a rim are covered in part; then the optics blur everything by `blur` px.
    """

    def draw(
        shape: tuple[int, int], spots: Iterable[tuple[float, float, float, float]], blur: float = 1.0
    ) -> np.ndarray:
        rows, cols = np.mgrid[: shape[0], : shape[1]]
        contrast = np.zeros(shape, np.float32)
        for row, col, radius, strength in spots:
            covered = np.clip(radius - np.hypot(rows - row, cols - col) + 0.5, 0, 1)
            contrast = np.maximum(contrast, strength * covered.astype(np.float32))
        if blur == 0:
            return contrast
        return np.asarray(cv2.GaussianBlur(contrast, (0, 0), blur, borderType=cv2.BORDER_REPLICATE))

    return draw


@pytest.fixture(scope="session")
def draw_section() -> Callable[..., np.ndarray]:
    """Function that draws polished cross-sections as an 8-bit picture.

    Each part is (shape, centre column, centre row, width, height, grey), "rectangle" or "ellipse", later
    parts over earlier ones, read on 4 x 4 points a pixel; then the optics blur and the camera adds noise.
    """

    def draw(
        shape: tuple[int, int],
        parts: Iterable[tuple[str, float, float, float, float, float]],
        *,
        medium: float = 30,
        blur: float = 1.0,
        noise: float = 2.0,
        turn_deg: float = 0.0,
    ) -> np.ndarray:
        rows, cols = (np.mgrid[: shape[0] * 4, : shape[1] * 4] + 0.5) / 4 - 0.5
        grey = np.full(rows.shape, medium, np.float32)
        c, s = np.cos(np.deg2rad(turn_deg)), np.sin(np.deg2rad(turn_deg))
        for kind, col, row, width, height, level in parts:
            u = ((cols - col) * c + (rows - row) * s) / (width / 2)
            v = ((rows - row) * c - (cols - col) * s) / (height / 2)
            inside = np.hypot(u, v) <= 1 if kind == "ellipse" else np.maximum(abs(u), abs(v)) <= 1
            grey[inside] = level
        seen = cv2.resize(grey, shape[::-1], interpolation=cv2.INTER_AREA)
        if blur:
            seen = cv2.GaussianBlur(seen, (0, 0), blur, borderType=cv2.BORDER_REPLICATE)
        seen = seen + np.random.default_rng(5).normal(0, noise, shape)
        return np.clip(np.rint(seen), 0, 255).astype(np.uint8)

    return draw


@pytest.fixture(scope="session")
def draw_bar() -> Callable[..., np.ndarray]:
    """Function that draws a scale bar (its outer edges `col` and `col + length`) with a label into a picture.

    `label` "" draws the bar alone, `length` 0 the label alone; `box` a level behind both. The picture comes
    back changed, a copy; grey stays grey.
    """
    import matplotlib
    from PIL import Image, ImageDraw, ImageFont

    def draw(
        picture: np.ndarray, label: str = "50 µm", *, row: int = 200, col: int = 40, length: int = 120,
        thickness: int = 4, ink: int = 255, box: int | None = 0, size: int = 22,
    ) -> np.ndarray:  # fmt: skip
        path = Path(matplotlib.get_data_path(), "fonts", "ttf", "DejaVuSans.ttf")
        font = ImageFont.truetype(str(path), size)
        out = picture.copy()
        if box is not None:
            out[row - size - 18 : row + thickness + 8, col - 10 : col + max(length, 110) + 10] = box
        out[row : row + thickness, col : col + length] = ink
        image = Image.fromarray(out)
        ImageDraw.Draw(image).text((col + 10, row - size - 12), label, fill=ink, font=font)
        return np.asarray(image).copy()

    return draw


@pytest.fixture(scope="session")
def stations() -> Callable[..., Stations]:
    """Function that makes up stations of struts along rows 100, 200 and so on, one for each array of widths.

    `left` and `right` are added to the edges, out of the strut.
    """

    def make(*widths, pitch=2.0, u=0.1, common=0.1, faults=None, open_width=0.0, left=0.0, right=0.0):
        n = [len(w) for w in widths]
        strut = np.repeat(np.arange(1, len(n) + 1), n)
        s = np.concatenate([(np.arange(k) + 0.5) * pitch for k in n])
        width = np.concatenate(widths).astype(float)
        fault = np.full(len(s), "", "U8") if faults is None else np.asarray(faults, "U8")
        ones = np.ones(len(s))
        row = 100.0 * strut
        return Stations(
            strut=strut,
            s=s,
            row=row,
            col=50 + s,
            normal_deg=90 * ones,
            left_row=row - width / 2 - left,
            left_col=50 + s,
            right_row=row + width / 2 + right,
            right_col=50 + s,
            width=width,
            open_width=np.broadcast_to(open_width, len(s)).astype(float),
            uncertainty=u * ones,
            common_uncertainty=common * ones,
            fault=fault,
            length=np.array(n) * pitch,
            pitch=pitch,
            correlation_length=3.0,
            unit_um=0.5,
        )

    return make


@pytest.fixture(scope="session")
def solid_of() -> Callable[..., np.ndarray]:
    """Function that draws the silhouette of made-up stations."""

    def draw(of, shape=(500, 400)):
        out = np.zeros(shape, bool)
        for row, col, width in zip(of.row, of.col, of.width, strict=True):
            out[int(row - width / 2) : int(row + width / 2) + 1, int(col) - 1 : int(col) + 2] = True
        return out

    return draw
