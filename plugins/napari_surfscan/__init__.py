"""surfscan in the napari viewer. Screens only: every number comes from surfscan."""

__all__ = ()
