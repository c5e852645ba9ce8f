"""surfscan in the napari viewer. Screens only: every number comes from surfscan."""

from surfscan import __version__

__all__ = ("__version__",)
