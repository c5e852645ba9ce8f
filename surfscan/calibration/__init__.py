"""Pixel size of an image and its uncertainty; unit of heights."""

from surfscan.calibration.heights import DEFAULT_HEIGHT_UNIT, HeightScale, judge_heights, judge_relief
from surfscan.calibration.metadata import calibrate
from surfscan.calibration.uncertainty import DECLARED_SCALE_ALLOWANCE
from surfscan.calibration.units import um_per_unit

__all__ = [
    "DECLARED_SCALE_ALLOWANCE",
    "DEFAULT_HEIGHT_UNIT",
    "HeightScale",
    "calibrate",
    "judge_heights",
    "judge_relief",
    "um_per_unit",
]
