"""What is under review in one viewer: the study, its images with their state, and the image that is open.

No Qt here: work goes through `run`, which is a worker thread in the viewer and a plain call in tests.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary, ref

from psygnal import Signal

from napari_surfscan.placing import OPENED, PART, PATH, is_ours, layer_of, opened_in, pixels_of, placement
from napari_surfscan.pyramid import early_layer, fill, levels_of, stand_in
from napari_surfscan.software_gl import keep_programs
from surfscan.images import HeightMap

if TYPE_CHECKING:
    from collections.abc import Iterator

    import napari

    from surfscan.images import Calibration, Micrograph
    from surfscan.study.entries import Study
    from surfscan.study.reviews import OpenedImage, ReviewItem

_NAPARI = "napari"  # how napari names its own reader

_sessions: WeakKeyDictionary[Any, ReviewSession] = WeakKeyDictionary()


class ReviewSession:
    """One review: a study and its images, or single images dropped into the viewer.

    Parameters
    ----------
    viewer : napari.Viewer or ViewerModel
    run : callable
        As `workers.run`.

    Attributes
    ----------
    study : Study or None
        None while no study is open.
    items : list of ReviewItem
        Images of the study with their state; empty until they have been looked at.
    current : OpenedImage or None
        What is open: entry, image, automatic results, corrections, companions, settings. For an image that
        was dropped in there are no results and no corrections, and `in_study` is False.

    Signals
    -------
    study_opened (Study), items_changed (), item_changed (image_id: a correction of it was saved),
    image_closing (OpenedImage, while its layers still stand), image_opened (OpenedImage, with its layer in
    place), image_closed (), busy (str: what is going on, empty when over), looking (images whose state is
    known, images in all), message (words, details).
    """

    study_opened = Signal(object)
    items_changed = Signal()
    item_changed = Signal(str)
    image_closing = Signal(object)
    image_opened = Signal(object)
    image_closed = Signal()
    busy = Signal(str)
    looking = Signal(int, int)
    message = Signal(str, str)

    def __init__(self, viewer: napari.Viewer, run: Callable[..., Any]) -> None:
        self._viewer = ref(viewer)
        self.run = run
        self.study: Study | None = None
        self.items: list[ReviewItem] = []
        self.current: OpenedImage | None = None
        self.image_layer: Any = None
        self._placing = False
        self._is_first = False
        self._stands_at = ""
        self._early: list[Any] | None = None
        self._decoding: set[Any] = set()
        self._opening: Any = None
        self._looking: Any = None
        viewer.layers.events.inserted.connect(self._on_inserted)
        viewer.layers.events.removed.connect(self._on_removed)
        viewer.layers.selection.events.active.connect(self._on_active)
        self.item_changed.connect(self._on_item_changed)

    @property
    def viewer(self) -> Any:
        """The viewer, which outlives its session."""
        return self._viewer()

    @property
    def in_study(self) -> bool:
        """Whether the open image is one of the open study: only then can a correction be saved."""
        if self.study is None or self.current is None:
            return False
        return self.current.entry in self.study.images

    @property
    def image_ids(self) -> list[str]:
        """Images of the study, in the order of its manifest."""
        return [] if self.study is None else [entry.image_id for entry in self.study.images]

    def open_study(self, path: str | Path, image_id: str = "") -> None:
        """Open a study with one of its images: the named one, else the one that was open last."""
        from surfscan.study.manifest import load_study
        from surfscan.study.remembered import read_remembered

        def opened(study: Study) -> None:
            self.busy.emit("")
            self.close_image()
            self.study, self.items, self._stands_at = study, [], ""
            self.study_opened.emit(study)
            ids = self.image_ids
            wanted = [image_id, read_remembered(study.folder).last_image, *ids[:1]]
            first = next((name for name in wanted if name in ids), "")
            if first:
                self._is_first = True
                self.open_image(first)
            else:
                self.look_at_states()

        self.busy.emit("Opening the study")
        self.run(lambda: load_study(path), returned=opened, failed=self._failed)

    def look_at_states(self) -> None:
        """Find the state of every image again."""
        from surfscan.study.reviews import review_items

        study = self.study
        if study is None:
            return
        if self._looking is not None:
            self._looking.cancel()

        def known(items: list[ReviewItem]) -> None:
            if self.study is study:
                self.items = items
                self.looking.emit(len(items), len(items))
                self.items_changed.emit()

        def look(report: Callable[[tuple[int, int]], object]) -> list[ReviewItem]:
            return review_items(study, lambda done, total: report((done, total)))

        self._looking = self.run(
            look, returned=known, failed=self._failed, progressed=lambda found: self.looking.emit(*found)
        )

    def open_image(self, image_id: str) -> None:
        """Open an image of the study in place of the one that is open.

        A large file with tiles or levels is on the screen at once; its results follow when it is decoded.
        """
        from surfscan.study.reviews import open_for_review

        study = self.study
        if study is None:
            return
        self._stands_at = image_id
        if self._opening is not None:
            self._opening.cancel()

        def opened(current: OpenedImage) -> None:
            self._opening = None
            self.busy.emit("")
            if self.study is study:
                self.show(current)
                self._after_first()

        def failed(error: Exception) -> None:
            self._opening = None
            self._drop_early()
            self._failed(error)
            self._after_first()

        self._drop_early()
        self.busy.emit(f"Opening {image_id}")
        self._show_early(study, image_id)
        job = self.run(lambda: open_for_review(study, image_id), returned=opened, failed=failed)
        self._opening = None if job.is_over else job

    def _on_item_changed(self, image_id: str) -> None:
        """A correction of an image was saved: read its state and its results again, keep the screen."""
        from surfscan.study.reviews import open_for_review

        study = self.study
        self.look_at_states()
        if study is None or self.current is None or self.current.entry.image_id != image_id:
            return

        def again(current: OpenedImage) -> None:
            if self.current is None or self.current.entry.image_id != image_id or self.study is not study:
                return
            if current.image.calibration == self.current.image.calibration:
                self.current = current
            else:  # everything drawn stands at the old scale
                self.show(current)

        self.run(lambda: open_for_review(study, image_id), returned=again, failed=self._failed)

    def next(self) -> None:
        """Open the next image of the study; the first where none is open."""
        self.step(1, self.image_ids)

    def previous(self) -> None:
        """Open the image before; the last where none is open."""
        self.step(-1, self.image_ids)

    def step(self, by: int, ids: Sequence[str]) -> None:
        """Go on by one among some images of the study, in their order, from the one that was asked for last.

        That may still be on its way, or be one that cannot be opened.

        Parameters
        ----------
        by : 1 or -1
        ids : sequence of str
        """
        if not ids:
            self.message.emit("No image is listed: clear the filter.", "")
            return
        here = self._stands_at
        if here not in ids:
            self.open_image(ids[0 if by > 0 else -1])
            return
        there = ids.index(here) + by
        if 0 <= there < len(ids):
            self.open_image(ids[there])
        else:
            self.message.emit("This is the last image." if by > 0 else "This is the first image.", "")

    def show(self, current: OpenedImage) -> None:
        """Put an opened image on the screen in place of the one that is open."""
        early = self._early
        if early is None:
            self.close_image()
        with self._own_layers():
            if early is None:
                data, keywords, _ = layer_of(current.image, pixels=levels_of(pixels_of(current.image)))
                self.image_layer = self.viewer.add_image(data, **keywords)
            else:
                self._complete(self.image_layer, early, current.image)
        self._early = None
        self.current = current
        if early is None:
            self.viewer.reset_view()
        self.image_opened.emit(current)

    def close_image(self) -> None:
        """Take the open image and all that was drawn on it off the screen."""
        if self.current is not None:
            self.image_closing.emit(self.current)
        was_open = self.current is not None
        self.current, self.image_layer, self._early = None, None, None
        with self._own_layers():
            for layer in [layer for layer in self.viewer.layers if is_ours(layer)]:
                self.viewer.layers.remove(layer)
        if was_open:
            self.image_closed.emit()

    def give_up(self) -> None:
        """Leave what is under way: nobody looks any more."""
        for job in (self._looking, self._opening):
            if job is not None:
                job.cancel()
        self._looking = self._opening = None

    def _drop_early(self) -> None:
        """Take a file off the screen that was shown early and is not going to be opened."""
        if self._early is not None:
            self.close_image()

    def _after_first(self) -> None:
        """States are looked at when the first image is on the screen: one waits for the image."""
        if self._is_first:
            self._is_first = False
            self.look_at_states()

    def _show_early(self, study: Study, image_id: str) -> None:
        """Show what can be read of a large file at once."""
        entry = next((e for e in study.images if e.image_id == image_id), None)
        path = None if entry is None else study.folder / entry.file
        found = None if entry is None or path is None else early_layer(path, entry.page)
        if found is None or path is None:
            return
        self.close_image()
        levels, calibration, kind = found
        data, keywords, _ = layer_of(stand_in(path, levels, calibration, kind), pixels=levels)
        keywords["metadata"] = {PART: True}
        with self._own_layers():
            self.image_layer = self.viewer.add_image(data, **keywords)
        self._early = levels
        self.viewer.reset_view()

    @staticmethod
    def _complete(layer: Any, levels: list[Any], image: Micrograph | HeightMap) -> None:
        """Give a layer that was shown early what is known now that the file is decoded."""
        fill(levels, pixels_of(image))
        _, keywords, _ = layer_of(image)
        layer.metadata = {**layer.metadata, **keywords["metadata"]}
        layer.name, layer.units, layer.scale = keywords["name"], keywords["units"], keywords["scale"]
        if "contrast_limits" in keywords:
            layer.contrast_limits = keywords["contrast_limits"]
        else:
            layer.reset_contrast_limits()
        layer.refresh()

    @contextmanager
    def _own_layers(self) -> Iterator[None]:
        """While layers are changed by the session, not by the user."""
        self._placing = True
        try:
            yield
        finally:
            self._placing = False

    def _failed(self, error: Exception) -> None:
        from napari_surfscan.messages import words_for

        self.busy.emit("")
        self.message.emit(*words_for(error))

    def _on_inserted(self, event: Any) -> None:
        self._take_up(event.value)

    def _on_active(self, event: Any) -> None:
        self._take_up(event.value)

    def _take_up(self, layer: Any) -> None:
        """Make an image that was dropped in, or chosen among several, the open one."""
        if self._placing or layer is None or layer is self.image_layer:
            return
        image = opened_in(layer.metadata)
        if image is not None:
            self._take(layer, image)
        elif PATH in layer.metadata:
            self._decode(layer, Path(layer.metadata[PATH]))
        elif not is_ours(layer) and layer.source.path and layer.source.reader_plugin == _NAPARI:
            self.message.emit(
                f"{Path(layer.source.path).name} was read by napari itself, which leaves out its scale: to "
                "measure it, open it again and choose surfscan where napari asks for a reader.",
                "",
            )

    def _take(self, layer: Any, image: Micrograph | HeightMap) -> None:
        if self.current is not None:
            self.image_closing.emit(self.current)
        self.current, self.image_layer, self._stands_at = loose(image), layer, ""
        self.image_opened.emit(self.current)

    def take_scale(self, calibration: Calibration) -> None:
        """Show an image that belongs to no study at another scale, as long as it is open."""
        if self.current is None or self.in_study:
            return
        image = replace(self.current.image, calibration=calibration)
        layer, at = self.image_layer, placement(calibration)
        layer.units, layer.scale = at["units"], at["scale"]
        layer.metadata = {**layer.metadata, OPENED: image}
        self._take(layer, image)
        self.viewer.reset_view()

    def open_loose(self, path: Path) -> None:
        """Open a large image of no study in a worker: its layer comes when it is decoded."""
        from napari_surfscan.readers import layer_of_opened
        from surfscan.opening import open_image

        def decoded(image: Micrograph | HeightMap) -> None:
            self.busy.emit("")
            data, keywords, _ = layer_of_opened(image)
            self.viewer.add_image(data, **keywords)

        self.busy.emit(f"Decoding {path.name}")
        self.run(lambda: open_image(path), returned=decoded, failed=self._failed)

    def _decode(self, layer: Any, path: Path) -> None:
        """Decode a large file whose layer is on the screen already."""
        from surfscan.opening import open_image

        if layer in self._decoding:
            return

        def decoded(image: Micrograph | HeightMap) -> None:
            self._decoding.discard(layer)
            self.busy.emit("")
            if layer in self.viewer.layers:
                name = layer.name
                self._complete(layer, list(layer.data), image)
                layer.name = name
                if self.viewer.layers.selection.active in (layer, None):
                    self._take(layer, image)

        def failed(error: Exception) -> None:
            self._decoding.discard(layer)
            if layer in self.viewer.layers:
                self.viewer.layers.remove(layer)
            self._failed(error)

        self._decoding.add(layer)
        self.busy.emit(f"Decoding {path.name}")
        self.run(lambda: open_image(path), returned=decoded, failed=failed)

    def _on_removed(self, event: Any) -> None:
        if self._placing or event.value is not self.image_layer or self.current is None:
            return
        self.image_closing.emit(self.current)
        self.current, self.image_layer = None, None
        self.image_closed.emit()


def loose(image: Micrograph | HeightMap) -> OpenedImage:
    """An image that belongs to no study, as something to review: nothing measured, nothing saved."""
    from surfscan.study.entries import ImageEntry, StudySettings
    from surfscan.study.reviews import OpenedImage

    path = Path(image.source.path)
    shows = "heights" if isinstance(image, HeightMap) else "surface"
    entry = ImageEntry(file=path.name, specimen=path.stem, shows=shows, page=image.source.page)
    settings = {name: StudySettings().of(name, shows) for name in entry.procedures}
    return OpenedImage(entry, image, {}, {}, {}, settings)


def session_of(viewer: napari.Viewer) -> ReviewSession:
    """The session of a viewer, made on first use."""
    viewer = getattr(viewer, "__wrapped__", viewer)  # napari hands a proxy to plugins
    if viewer not in _sessions:
        from napari_surfscan.workers import run

        if hasattr(viewer, "window"):
            keep_programs()
        _sessions[viewer] = ReviewSession(viewer, run)
    return _sessions[viewer]
