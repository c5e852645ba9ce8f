"""A height map made ready to be measured: form taken off, spikes taken out, gaps left as they are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from surfscan.preparation.form import Form, fit_form
from surfscan.preparation.spikes import find_spikes

_LOW_MEASURED = 0.8


@dataclass(frozen=True)
class PreparedHeights:
    """Heights relative to the form.

    Attributes
    ----------
    residual_um : ndarray of shape (M, N), float32
        Heights less form, µm, up positive; not-a-number where not measured and where a spike was.
    form : Form
        What was taken off.
    spike_count : int
        Pixels of the region that were set to not measured because they stood out like no surface does.
    measured_fraction : float
        Share of the region that was measured, spikes included.
    warnings : tuple of str
    """

    residual_um: np.ndarray
    form: Form
    spike_count: int
    measured_fraction: float
    warnings: tuple[str, ...] = ()


def prepare_heights(
    heights_um: np.ndarray,
    *,
    form: Literal["auto", "none", "plane", "polynomial2", "cylinder"] = "auto",
    spikes: Literal["auto", "keep"] = "auto",
    pixel_size_um: tuple[float, float] | None,
    region: np.ndarray | None = None,
) -> PreparedHeights:
    """Take form and spikes off a height map.

    Parameters
    ----------
    heights_um : ndarray of shape (M, N), float
        Heights, µm, up positive; not-a-number where not measured.
    form : {"auto", "none", "plane", "polynomial2", "cylinder"}
        As for `fit_form`.
    spikes : {"auto", "keep"}
        "auto" sets what `find_spikes` finds to not measured.
    pixel_size_um : tuple of float or None
        Pixel size (x, y); None where unknown.
    region : ndarray of shape (M, N), bool, optional
        Where the specimen is; everywhere where not given.

    Returns
    -------
    PreparedHeights
        Gaps stay gaps: nothing is filled in.

    Raises
    ------
    ValueError
        As `fit_form` does; for any other word for `spikes`.
    """
    if spikes not in ("auto", "keep"):
        raise ValueError(f"spikes must be 'auto' or 'keep', got {spikes!r}")
    found = fit_form(heights_um, form, pixel_size_um=pixel_size_um, region=region)
    residual = found.remove(heights_um)
    measured = _measured(residual, region)
    count = 0
    if spikes == "auto":
        outliers = find_spikes(residual, region)
        count = int(np.count_nonzero(outliers))
        residual[outliers] = np.nan
    warnings = []
    if measured < _LOW_MEASURED:
        warnings.append(
            f"Only {100 * measured:.0f} % of the field was measured. Pits hide in gaps, and a depth whose "
            "floor was not measured is a lower bound: scan again with more light or a higher aperture."
        )
    return PreparedHeights(residual, found, count, measured, tuple(warnings))


def _measured(residual: np.ndarray, region: np.ndarray | None) -> float:
    """Share of the region with a height."""
    finite = np.isfinite(residual)
    if region is None:
        return float(np.count_nonzero(finite) / finite.size)
    return float(np.count_nonzero(finite & region) / max(int(np.count_nonzero(region)), 1))
