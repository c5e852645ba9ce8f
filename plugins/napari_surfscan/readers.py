"""napari's way to our loaders: any image that surfscan opens, and a study by its folder or study.toml."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from napari_surfscan.placing import HEIGHTS, PATH, LayerData, layer_of, pixels_of

if TYPE_CHECKING:
    from surfscan.images import HeightMap, Micrograph

PathOrPaths = str | Sequence[str]
_HEAD_LENGTH = 4096
LARGE_BYTES = 2**23
"""Size of a file from which it is decoded in a worker."""

_NO_LAYERS: list[Any] = [(None,)]
"""What tells napari that a file was dealt with and brings no layer."""


def get_reader(path: PathOrPaths) -> Callable[[PathOrPaths], list[Any]] | None:
    """The reader for what was dropped or opened; None where it is none of ours. Never raises.

    Parameters
    ----------
    path : str or sequence of str
        Several are opened one by one, not stacked.
    """
    paths = _as_paths(path)
    if not paths:
        return None
    if all(_is_study(p) for p in paths):
        return read_study
    return read_images if all(_is_image(p) for p in paths) else None


def read_images(path: PathOrPaths) -> list[LayerData]:
    """One layer a file, with physical scale and units; pixels where the scale is not known.

    In a viewer, a large file that can only be decoded whole is so in a worker, and its layer comes later.

    Raises
    ------
    InputError
        What is wrong with a file, in plain words; napari shows it, and so do our panels.
    """
    found = [layer for p in _as_paths(path) if (layer := _layer(p)) is not None]
    return found or _NO_LAYERS


def read_study(path: PathOrPaths) -> list[Any]:
    """Open a study in the review panel of the current viewer; brings no layer by itself."""
    import napari

    from napari_surfscan.launch import show_study

    viewer = napari.current_viewer()
    if viewer is not None:
        show_study(viewer, _as_paths(path)[0])
    return _NO_LAYERS


def _layer(path: Path) -> LayerData | None:
    import napari

    from napari_surfscan.pyramid import early_layer, stand_in
    from surfscan.errors import InputError
    from surfscan.opening import open_image

    early = early_layer(path)
    if early is not None:
        levels, calibration, kind = early
        data, keywords, name = layer_of(stand_in(path, levels, calibration, kind), pixels=levels)
        keywords["metadata"] = {PATH: str(path)}
        return data, {**keywords, "name": path.name}, name
    viewer = napari.current_viewer()
    if viewer is None:
        return layer_of_opened(open_image(path))
    from napari_surfscan.messages import words_for
    from napari_surfscan.session import session_of

    session = session_of(viewer)
    if path.stat().st_size >= LARGE_BYTES:
        session.open_loose(path)
        return None
    try:
        return layer_of_opened(open_image(path))
    except InputError as error:
        session.message.emit(*words_for(error))
        raise


def layer_of_opened(image: Micrograph | HeightMap) -> LayerData:
    """The layer of an opened image, named after its file; says so where its scale is not known."""
    from napari_surfscan.pyramid import levels_of

    name = Path(image.source.path).name
    data, keywords, kind = layer_of(image, pixels=levels_of(pixels_of(image)))
    if image.calibration is None:
        remedy = (
            "State it in a study.toml (pixel_size_um)." if keywords["name"] == HEIGHTS else "Set it in Scale."
        )
        _tell(f"{name} has no scale that could be defended, so it is shown in pixels. {remedy}")
    return data, {**keywords, "name": name}, kind


def _tell(words: str) -> None:
    from napari.utils.notifications import show_info

    show_info(words)


def _as_paths(path: PathOrPaths) -> list[Path]:
    return [Path(path)] if isinstance(path, (str, Path)) else [Path(p) for p in path]


def _is_study(path: Path) -> bool:
    from surfscan.study.manifest import FILE_NAME

    try:
        return path.name == FILE_NAME or (path / FILE_NAME).is_file()
    except OSError:
        return False


def _is_image(path: Path) -> bool:
    from surfscan.loaders import find_loaders

    try:
        if not path.is_file():
            return False
        with path.open("rb") as file:
            head = file.read(_HEAD_LENGTH)
        return any(loader.recognises(head) for loader in find_loaders()[0])
    except Exception:  # a getter says no; what is wrong with the file is said by whoever opens it
        return False
