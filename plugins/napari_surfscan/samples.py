"""Sample data of the viewer: images of the demo study, all invented."""

from __future__ import annotations

from napari_surfscan.placing import LayerData
from napari_surfscan.readers import read_images

SURFACE, HEIGHTS, STRUT, SECTION = (
    "images/U28-1_b.ome.tif",
    "heights/U28-1_h1.x3p",
    "struts/U28-1_strut.jpg",
    "sections/C28-1_section.jpg",
)


def _sample(name: str) -> list[LayerData]:
    from surfscan.demo import sample_folder

    return read_images(str(sample_folder() / name))


def surface() -> list[LayerData]:
    """A pitted surface, light microscope."""
    return _sample(SURFACE)


def heights() -> list[LayerData]:
    """A height map with pits."""
    return _sample(HEIGHTS)


def strut() -> list[LayerData]:
    """A strut that corroded."""
    return _sample(STRUT)


def section() -> list[LayerData]:
    """A polished cross-section."""
    return _sample(SECTION)
