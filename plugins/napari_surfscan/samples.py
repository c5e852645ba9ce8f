"""Sample data of the viewer: images of the demo study, all invented."""

from __future__ import annotations

from napari_surfscan.placing import LayerData

SURFACE, HEIGHTS, STRUT, SECTION = (
    "images/U28-1_b.ome.tif",
    "heights/U28-1_h1.x3p",
    "struts/U28-1_strut.jpg",
    "sections/C28-1_section.jpg",
)


def _sample(name: str) -> list[LayerData]:
    """An image of the demo study as its study.toml opens it: some state their scale only there."""
    from napari_surfscan.readers import layer_of_opened
    from surfscan.demo import sample_folder
    from surfscan.study.inputs import open_entry
    from surfscan.study.manifest import load_study

    study = load_study(sample_folder())
    entry = next(entry for entry in study.images if entry.file == name)
    return [layer_of_opened(open_entry(study.folder, entry))]


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
