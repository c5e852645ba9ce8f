"""Shapes that a specimen can have as a whole: plane, second-order polynomial, circular cylinder.

All are functions of place, in normalised coordinates about the field's centre, so that their equations stay
well conditioned whatever the field's size.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

_STEEPEST = 0.05  # cosine of the slope beyond which a cylinder's flank is followed no further (87 degrees)


@dataclass(frozen=True)
class Frame:
    """Normalised coordinates: 0 at the region's centre, about 1 at the ends of its longer side.

    Attributes
    ----------
    row, col : float
        The centre, px.
    step_x, step_y : float
        Change per pixel along a row and along a column.
    half_x, half_y : float
        Coordinates of the region's last column and row.
    length : float
        What 1 stands for, in the unit of the pixel size.
    """

    row: float
    col: float
    step_x: float
    step_y: float
    half_x: float
    half_y: float
    length: float

    @classmethod
    def of(cls, box: tuple[int, int, int, int], pixel_size: tuple[float, float]) -> Frame:
        """Frame of a region from first to last row and first to last column, with pixels of size (x, y)."""
        first_row, last_row, first_col, last_col = box
        half_x, half_y = (
            (last_col - first_col) / 2 * pixel_size[0],
            (last_row - first_row) / 2 * pixel_size[1],
        )
        length = max(half_x, half_y) + max(pixel_size) / 2
        return cls(
            (first_row + last_row) / 2,
            (first_col + last_col) / 2,
            pixel_size[0] / length,
            pixel_size[1] / length,
            half_x / length,
            half_y / length,
            length,
        )

    def x(self, cols: np.ndarray) -> np.ndarray:
        """Coordinates of columns."""
        return np.asarray((cols - self.col) * self.step_x)

    def y(self, rows: np.ndarray) -> np.ndarray:
        """Coordinates of rows."""
        return np.asarray((rows - self.row) * self.step_y)


@dataclass(frozen=True)
class Polynomial:
    """z = c0 + c1 x + c2 y + c3 x² + c4 x y + c5 y², or its first one or three terms.

    Attributes
    ----------
    frame : Frame
    coefficients : ndarray of shape (1,), (3,) or (6,), float64
        In the unit of the heights.
    """

    frame: Frame
    coefficients: np.ndarray

    @property
    def size(self) -> int:
        """Number of parameters."""
        return len(self.coefficients)

    def slopes(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Change of z with each parameter at places x, y of shape (n,); shape (n, size)."""
        one = np.ones_like(x)
        terms = (one, x, y, x * x, x * y, y * y)
        return np.stack(terms[: self.size], axis=1)

    def at(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Heights at places x, y of shape (n,)."""
        return np.asarray(self.slopes(x, y) @ self.coefficients)

    def moved(self, change: np.ndarray) -> Polynomial:
        """The same with its parameters changed."""
        return replace(self, coefficients=self.coefficients + change)

    def grid(self, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
        """Heights on a grid, shape (len(rows), len(cols)), float32."""
        c = np.zeros(6)
        c[: self.size] = self.coefficients
        x, y = self.frame.x(cols), self.frame.y(rows)
        slope = (c[1] + y * c[4]).astype(np.float32)
        out = slope[:, None] * x.astype(np.float32)
        if self.size > 3:
            out += (c[3] * x * x).astype(np.float32)
        out += (c[0] + y * (c[2] + y * c[5])).astype(np.float32)[:, None]
        return np.asarray(out)


@dataclass(frozen=True)
class Cylinder:
    """A circular cylinder seen from above, its axis in any direction and tilted.

    With s along the axis and u across it, in the plane, from the apex line:
    z = z0 + t s + sqrt(1 + t²) (sqrt(R² - u²) - R), which is exact. The curvature 1/R is positive for a
    surface that bulges upwards.

    Attributes
    ----------
    frame : Frame
    parameters : ndarray of shape (5,), float64
        z0; tilt along the axis as height per length of 1; direction of the axis, rad; place of the apex line
        across the axis; curvature times the frame's length.
    """

    frame: Frame
    parameters: np.ndarray

    @property
    def size(self) -> int:
        """Number of parameters."""
        return len(self.parameters)

    @classmethod
    def near(cls, bent: Polynomial) -> Cylinder:
        """The cylinder that has the stronger curvature of a second-order polynomial."""
        c0, c1, c2, c3, c4, c5 = bent.coefficients
        values, directions = np.linalg.eigh(np.array([[2 * c3, c4], [c4, 2 * c5]]))
        main = int(np.argmax(np.abs(values)))
        curvature = float(values[main]) or -1e-12
        nx, ny = directions[:, main]
        axis = float(np.arctan2(-nx, ny))  # across is (-sin, cos) of the axis
        across = -np.sin(axis) * c1 + np.cos(axis) * c2
        along = np.cos(axis) * c1 + np.sin(axis) * c2
        apex = -across / curvature
        top = c0 - curvature * apex * apex / 2
        length = bent.frame.length
        parameters = np.array([top, along, axis, apex, -curvature / length])
        return cls(bent.frame, parameters)

    def _parts(self, s: np.ndarray, u: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
        """Drop below the apex line, cosine of the profile's slope, stretch by the axis's tilt."""
        length, curvature = self.frame.length, self.parameters[4]
        cosine = np.sqrt(np.maximum(1 - (curvature * u) ** 2, _STEEPEST**2))
        drop = curvature * length * u * u / (1 + cosine)
        stretch = float(np.hypot(1, self.parameters[1] / length))
        return drop, cosine, stretch

    def at(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Heights at places x, y of shape (n,)."""
        s, u = self._turned(x, y)
        drop, _, stretch = self._parts(s, u)
        return np.asarray(self.parameters[0] + self.parameters[1] * s - stretch * drop)

    def _turned(self, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Places along the axis and across it."""
        sine, cosine = np.sin(self.parameters[2]), np.cos(self.parameters[2])
        return x * cosine + y * sine, y * cosine - x * sine - self.parameters[3]

    def slopes(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Change of z with each parameter at places x, y of shape (n,); shape (n, 5)."""
        s, u = self._turned(x, y)
        drop, cosine, stretch = self._parts(s, u)
        length, tilt, apex, curvature = self.frame.length, *self.parameters[[1, 3, 4]]
        across = -stretch * curvature * length * u / cosine
        return np.stack(
            [
                np.ones_like(x),
                s - drop * tilt / (length**2 * stretch),
                tilt * (u + apex) - across * s,
                -across,
                -stretch * length * u * u / (cosine * (1 + cosine)),
            ],
            axis=1,
        )

    def moved(self, change: np.ndarray) -> Cylinder:
        """The same with its parameters changed."""
        return replace(self, parameters=self.parameters + change)

    def grid(self, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
        """Heights on a grid, shape (len(rows), len(cols)), float32."""
        z0, tilt, axis, apex, curvature = self.parameters
        x, y = self.frame.x(cols), self.frame.y(rows)
        sine, cosine = np.sin(axis), np.cos(axis)
        stretch = np.hypot(1, tilt / self.frame.length)
        u = (y * cosine - apex).astype(np.float32)[:, None] - (x * sine).astype(np.float32)
        u *= u
        root = u * np.float32(-(curvature**2))
        root += np.float32(1)
        np.maximum(root, np.float32(_STEEPEST**2), out=root)
        np.sqrt(root, out=root)
        root += np.float32(1)
        u *= np.float32(-stretch * curvature * self.frame.length)
        u /= root
        u += (z0 + tilt * sine * y).astype(np.float32)[:, None]
        u += (tilt * cosine * x).astype(np.float32)
        return u
