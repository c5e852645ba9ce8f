"""Speed of areal texture beside the plain way, and how well the two agree.

The plain way is numpy in float64 at full size: `nanmean` and its kin and `np.gradient` for heights and
slopes, a sort for the material ratio curve, a zero-padded FFT of heights and of the mask for the
autocorrelation. Run: python benchmarks/bench_texture.py [--size 4096] [--repeat 5]
"""

from __future__ import annotations

import argparse
import os
import platform
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import bench_speed
import cv2
import numpy as np

from surfscan.measurement.autocorrelation import spatial_parameters
from surfscan.measurement.material_ratio import material_ratio_curve, material_ratio_parameters
from surfscan.measurement.texture import height_parameters

PIXEL_UM = 0.5


def make_surface(size: int, *, gaps: float = 0.02, seed: int = 1) -> np.ndarray:
    """Ground metal: grooves over fine roughness, Sq 0.3 µm, some heights not measured; float32."""
    rng = np.random.default_rng(seed)
    z = cv2.GaussianBlur(rng.standard_normal((size, size), np.float32), (0, 0), 3, sigmaY=20)
    z = 0.3 * z / z.std() + cv2.GaussianBlur(0.2 * rng.standard_normal((size, size), np.float32), (0, 0), 1)
    z[rng.random((size, size), np.float32) < gaps] = np.nan
    return z


def plain_statistics(heights_um: np.ndarray, pixel_um: float) -> dict[str, float]:
    """Sa, Sq, Sz, Ssk, Sku, Sdq and Sdr as one writes them down."""
    z = heights_um.astype(np.float64)
    z -= np.nanmean(z)
    sq = np.sqrt(np.nanmean(z**2))
    gradient_y, gradient_x = np.gradient(z, pixel_um, pixel_um)
    squared = gradient_x**2 + gradient_y**2
    return {
        "sa_um": float(np.nanmean(np.abs(z))),
        "sq_um": float(sq),
        "sz_um": float(np.nanmax(z) - np.nanmin(z)),
        "ssk": float(np.nanmean(z**3) / sq**3),
        "sku": float(np.nanmean(z**4) / sq**4),
        "sdq": float(np.sqrt(np.nanmean(squared))),
        "sdr": float(np.nanmean(np.sqrt(1 + squared)) - 1),
    }


def plain_triangles(heights_um: np.ndarray, pixel_um: float) -> dict[str, float]:
    """Sdq and Sdr by surfscan's own formulas, whole-frame and in float64."""
    z = heights_um.astype(np.float64)
    x, y = (np.diff(z, axis=1) / pixel_um) ** 2, (np.diff(z, axis=0) / pixel_um) ** 2
    corners = [a + b for a in (x[:-1], x[1:]) for b in (y[:, :-1], y[:, 1:])]
    along, across = (np.pad(np.ones(n - 3), 1, constant_values=1.5) for n in z.shape)
    weight = np.where(np.isnan(sum(corners)), 0, np.outer(along, across))
    return {
        "sdq": float(np.sqrt(np.nansum(sum(corners) * weight) / weight.sum() / 4)),
        "sdr": float(np.nansum(sum(np.sqrt(1 + g) for g in corners) * weight) / weight.sum() / 4 - 1),
    }


def plain_curve(heights_um: np.ndarray) -> np.ndarray:
    """Heights at material ratios of 1 to 99 %, from the sorted heights."""
    heights = np.sort(heights_um[np.isfinite(heights_um)].astype(np.float64))
    at = (np.arange(heights.size) + 0.5) / heights.size
    return np.interp(1 - np.arange(1, 100) / 100, at, heights)


def plain_autocorrelation(heights_um: np.ndarray) -> np.ndarray:
    """Masked autocorrelation of all lags, zero-padded, by numpy's FFT."""
    measured = np.isfinite(heights_um)
    z = np.where(measured, heights_um - np.nanmean(heights_um), 0).astype(np.float64)
    shape = [2 * n for n in z.shape]
    products, pairs = (
        np.fft.irfft2(np.abs(np.fft.rfft2(part, s=shape)) ** 2, s=shape)
        for part in (z, measured.astype(np.float64))
    )
    out = products / np.maximum(pairs, 0.5)
    return out / out[0, 0]


def in_turn(ours: Callable[[], Any], theirs: Callable[[], Any], repeat: int) -> tuple[float, float]:
    """Shortest time of each, s, run alternately."""
    best = [np.inf, np.inf]
    for _ in range(repeat):
        for i, work in enumerate((ours, theirs)):
            started = time.perf_counter()
            work()
            best[i] = min(best[i], time.perf_counter() - started)
    return best[0], best[1]


def compare(heights: np.ndarray, repeat: int) -> None:
    """Each step in both ways, with the ratio of the shortest times and the agreement."""
    size = (PIXEL_UM, PIXEL_UM)
    ours, theirs = in_turn(
        lambda: height_parameters(heights, pixel_size_um=size),
        lambda: plain_statistics(heights, PIXEL_UM),
        repeat,
    )
    got, plain = height_parameters(heights, pixel_size_um=size), plain_statistics(heights, PIXEL_UM)
    worst = max(abs(getattr(got, n) / plain[n] - 1) for n in ("sa_um", "sq_um", "sz_um", "sku"))
    print(
        f"Sa Sq Sz Ssk Sku Sdq Sdr   {ours * 1e3:6.0f} ms, plain {theirs * 1e3:6.0f} ms: {theirs / ours:.0f}"
    )
    print(
        f"  Sa, Sq, Sz, Sku differ by up to {worst:.0e} (relative), Ssk by {abs(got.ssk - plain['ssk']):.0e}"
    )
    same = plain_triangles(heights, PIXEL_UM)
    for name in ("sdq", "sdr"):
        value = getattr(got, name)
        print(
            f"  {name}: {abs(value / same[name] - 1):.0e} from the same formula in float64; "
            f"{value / plain[name] - 1:+.1%} from central differences, which smooth"
        )
    ours, theirs = in_turn(
        lambda: material_ratio_parameters(material_ratio_curve(heights)), lambda: plain_curve(heights), repeat
    )
    curve = material_ratio_curve(heights).height_at(np.arange(1, 100) / 100)
    gap = np.abs(curve - plain_curve(heights)).max() / got.sq_um
    print(
        f"material ratio curve       {ours * 1e3:6.0f} ms, plain {theirs * 1e3:6.0f} ms: {theirs / ours:.0f}"
    )
    print(f"  heights at 1 to 99 % differ by up to {gap:.0e} Sq")
    ours, theirs = in_turn(
        lambda: spatial_parameters(heights, pixel_size_um=size), lambda: plain_autocorrelation(heights), 2
    )
    print(
        f"Sal, Str, Std              {ours * 1e3:6.0f} ms, plain FFT alone {theirs * 1e3:6.0f} ms: "
        f"{theirs / ours:.0f}"
    )


def whole_command(heights: np.ndarray, repeat: int) -> None:
    """The command from file to JSON, with its peak memory."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "surface.npy")
        np.save(path, heights)
        command = [bench_speed.surfscan_command(), "texture", str(path), "--pixel-size-um", str(PIXEL_UM)]
        command += ["--json", str(Path(folder, "out.json"))]
        runs = [bench_speed.run(command) for _ in range(repeat)]
    seconds = ", ".join(f"{r.seconds:.2f}" for r in runs)
    print(f"surfscan texture: {seconds} s; peak {max(r.peak_mb for r in runs):.0f} MB")


def main() -> None:
    """Parse and run."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--repeat", type=int, default=5)
    parser.add_argument("--size", type=int, default=4096)
    options = parser.parse_args()
    print(f"{platform.platform()}, {os.cpu_count()} cores, Python {platform.python_version()}")
    print(f"{options.size} x {options.size} float32, 2 % not measured; shortest of {options.repeat}, in turn")
    heights = make_surface(options.size)
    compare(heights, options.repeat)
    whole_command(heights, 3)


if __name__ == "__main__":
    main()
