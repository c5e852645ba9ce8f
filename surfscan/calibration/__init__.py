"""Pixel size of an image and its uncertainty."""

from surfscan.calibration.metadata import DECLARED_SCALE_ALLOWANCE, calibrate
from surfscan.calibration.units import um_per_unit

__all__ = ["DECLARED_SCALE_ALLOWANCE", "calibrate", "um_per_unit"]
