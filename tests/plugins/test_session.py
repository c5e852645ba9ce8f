"""The session: a study and its images one after the other, single images, large files shown early. No Qt."""

import shutil

import numpy as np
import pytest
import tifffile
from napari.components import ViewerModel
from napari.layers._source import layer_source
from napari_surfscan import pyramid
from napari_surfscan.placing import PART, layer_of
from napari_surfscan.readers import read_images
from napari_surfscan.session import ReviewSession, session_of
from napari_surfscan.workers import Job, run_at_once

from surfscan.images import Calibration, Micrograph, Source
from surfscan.opening import open_image
from surfscan.study.remembered import remember

IDS = ["images/C28-1_b.ome.tif", "images/U28-1_b.ome.tif"]


class Heard:
    """What a session signalled, in order."""

    def __init__(self, session):
        self.events = []
        session.study_opened.connect(lambda study: self.events.append(("study", study.title)))
        session.items_changed.connect(lambda: self.events.append(("items", len(session.items))))
        session.image_opened.connect(lambda now: self.events.append(("opened", now.entry.image_id)))
        session.image_closing.connect(
            lambda was: self.events.append(("closing", was.entry.image_id, len(session.viewer.layers)))
        )
        session.image_closed.connect(lambda: self.events.append(("closed",)))
        session.message.connect(lambda words, details: self.events.append(("said", words)))


@pytest.fixture
def viewer():
    return ViewerModel()


@pytest.fixture
def session(viewer):
    return ReviewSession(viewer, run_at_once)


def test_study_opens_with_its_first_image(session, viewer, study):
    """The study, its first image in a layer at scale with all that was measured, then every state."""
    heard = Heard(session)
    session.open_study(study)
    assert heard.events == [("study", "Two plates (all invented)"), ("opened", IDS[0]), ("items", 2)]
    assert [layer.name for layer in viewer.layers] == ["image"]
    assert [str(unit) for unit in viewer.layers[0].units] == ["micrometer", "micrometer"]
    assert session.current.automatic["pits"].summary["pit_count"] > 10
    assert {item.state for item in session.items} == {"measured"}
    assert session.in_study


def test_study_opens_where_one_stopped(session, study):
    """The image that was open last comes first, unless another is asked for; one that is gone does not."""
    remember(study, last_image=IDS[1])
    session.open_study(study)
    assert session.current.entry.image_id == IDS[1]
    session.open_study(study, IDS[0])
    assert session.current.entry.image_id == IDS[0]
    remember(study, last_image="gone.png")
    session.open_study(study)
    assert session.current.entry.image_id == IDS[0]


def test_next_and_previous(session, study):
    """In the order of the manifest; the ends are said, not wrapped."""
    session.open_study(study)
    heard = Heard(session)
    session.next()
    assert session.current.entry.image_id == IDS[1]
    session.next()
    assert heard.events[-1] == ("said", "This is the last image.")
    session.previous()
    session.previous()
    assert session.current.entry.image_id == IDS[0]
    assert heard.events[-1] == ("said", "This is the first image.")
    session.step(1, [])
    assert "clear the filter" in heard.events[-1][1]


def test_own_layers_go_with_their_image(session, viewer, study):
    """What was drawn on an image goes with it, while panels may still read it; what the user added stays."""
    session.open_study(study)
    viewer.add_labels(np.zeros((8, 8), int), name="pits")
    viewer.add_points(np.zeros((1, 2)), name="note", metadata={PART: True})
    viewer.add_points(np.zeros((1, 2)), name="mine")
    heard = Heard(session)
    session.next()
    assert heard.events == [("closing", IDS[0], 4), ("closed",), ("opened", IDS[1])]
    assert sorted(layer.name for layer in viewer.layers) == ["image", "mine"]


def test_image_dropped_in(session, viewer, demo_folder):
    """A single image can be looked at and measured, and belongs to no study."""
    heard = Heard(session)
    data, keywords, _ = read_images(str(demo_folder / "heights" / "U28-1_h1.x3p"))[0]
    viewer.add_image(data, **keywords)
    assert heard.events == [("opened", "U28-1_h1.x3p")]
    assert session.current.entry.shows == "heights"
    assert list(session.current.settings) == ["pits", "texture"]
    assert not session.in_study
    viewer.layers.clear()
    assert session.current is None
    assert heard.events[-1] == ("closed",)


def test_choosing_among_dropped_images(session, viewer, demo_folder):
    """Of several, the one selected in the layer list is under review."""
    for name in ("C28-1_b.ome.tif", "U28-1_b.ome.tif"):
        data, keywords, _ = layer_of(open_image(demo_folder / "images" / name))
        viewer.add_image(data, **{**keywords, "name": name})
    assert session.current.entry.file == "U28-1_b.ome.tif"
    viewer.layers.selection.active = viewer.layers["C28-1_b.ome.tif"]
    assert session.current.entry.file == "C28-1_b.ome.tif"


def test_errors_are_said_in_plain_words(session, study, tmp_path):
    """A study that is not there, and an image that was lost: words, and the session lives on."""
    heard = Heard(session)
    session.open_study(tmp_path / "none")
    assert heard.events[-1][0] == "said"
    (study / IDS[0]).unlink()
    session.open_study(study)
    assert any(event[0] == "said" and "C28-1_b" in event[1] for event in heard.events)
    assert session.current is None
    session.next()
    session.open_image(IDS[1])
    assert session.current.entry.image_id == IDS[1]


def test_large_tiled_file_of_a_study_is_shown_early(session, viewer, study, monkeypatch):
    """Its layer stands before it is decoded, and is completed in place."""
    monkeypatch.setattr(pyramid, "LARGE_PX", 1000)
    pixels = tifffile.imread(study / IDS[1])
    tifffile.imwrite(
        study / IDS[1], pixels, tile=(64, 64), resolution=(2e4, 2e4), resolutionunit="CENTIMETER"
    )
    seen = []
    real = session.run

    def watching(function, **callbacks):
        seen.append([(layer.name, layer.multiscale) for layer in viewer.layers])
        return real(function, **callbacks)

    session.open_study(study)
    session.run = watching
    session.open_image(IDS[1])
    assert seen[0] == [("image", True)]
    assert len(viewer.layers) == 1
    np.testing.assert_array_equal(session.current.image.grey, pixels)
    assert session.image_layer is viewer.layers[0]


def test_large_dropped_file_is_decoded_behind_its_layer(session, viewer, tmp_path, monkeypatch):
    """It comes under review when it is decoded; its name stays."""
    monkeypatch.setattr(pyramid, "LARGE_PX", 1000)
    path = tmp_path / "tiled.tif"
    pixels = np.random.default_rng(0).integers(0, 256, (128, 128), np.uint8)
    tifffile.imwrite(path, pixels, tile=(64, 64))
    data, keywords, _ = read_images(str(path))[0]
    viewer.add_image(data, **keywords)
    assert session.current.entry.file == "tiled.tif"
    assert viewer.layers[0].name == "tiled.tif"


def test_next_goes_past_what_cannot_be_opened(session, study):
    """A damaged image is said, and the key goes on to the one after it."""
    (study / IDS[0]).write_bytes(b"")
    session.open_study(study)
    assert session.current is None
    session.next()
    assert session.current.entry.image_id == IDS[1]
    session.previous()
    session.next()
    assert session.current.entry.image_id == IDS[1]


class Later:
    """Work that is done when it is told to be, as by a worker that takes its time."""

    def __init__(self):
        self.waiting = []

    def __call__(self, function, *, returned, failed, cancelled=None, progressed=None):
        job = Job()
        self.waiting.append(
            (job, function, {"returned": returned, "failed": failed, "progressed": progressed})
        )
        return job

    def finish(self):
        """Do all that was not cancelled."""
        while self.waiting:
            job, function, reports = self.waiting.pop(0)
            if not job.is_cancelled:
                run_at_once(function, **reports)


@pytest.fixture
def two_sizes(tmp_path, monkeypatch):
    """A study of a small picture and of a large tiled one, the first at once, the other shown early."""
    monkeypatch.setattr(pyramid, "LARGE_PX", 10_000)
    text = 'title = "Two sizes (invented)"\n[[group]]\nname = "g"\n[[specimen]]\nid = "a"\ngroup = "g"\n'
    for name, side in (("small.tif", 40), ("large.tif", 128)):
        pixels = np.full((side, side), side, np.uint8)
        tifffile.imwrite(tmp_path / name, pixels, tile=(64, 64) if side > 100 else None)
        text += f'[[image]]\nfile = "{name}"\nspecimen = "a"\nprocedures = ["pits"]\n'
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    return tmp_path


def shown(viewer):
    """What the one layer of a viewer shows."""
    (layer,) = viewer.layers
    return np.asarray(layer.data[0] if layer.multiscale else layer.data)


def test_going_on_from_a_file_shown_early(viewer, two_sizes):
    """The next image does not take over the layer of a large one that was left before it was decoded."""
    later = Later()
    session = ReviewSession(viewer, later)
    session.open_study(two_sizes)
    later.finish()
    session.open_image("large.tif")
    assert shown(viewer).shape == (128, 128)
    session.open_image("small.tif")
    later.finish()
    assert session.current.entry.image_id == "small.tif"
    np.testing.assert_array_equal(shown(viewer), session.current.image.pixels)


def test_damaged_file_shown_early_leaves_the_screen(viewer, two_sizes):
    """What cannot be opened is said and taken away, and the next image is shown as it is."""
    session = ReviewSession(viewer, run_at_once)
    session.open_study(two_sizes)
    path = two_sizes / "large.tif"
    path.write_bytes(path.read_bytes()[:-2000])
    heard = Heard(session)
    session.open_image("large.tif")
    assert "truncated" in heard.events[-1][1]
    assert not viewer.layers
    session.open_image("small.tif")
    np.testing.assert_array_equal(shown(viewer), session.current.image.pixels)


def test_dropped_large_file_is_decoded_once(viewer, tmp_path, monkeypatch):
    """It is not taken up while another image is looked at; a damaged one goes, and is said."""
    monkeypatch.setattr(pyramid, "LARGE_PX", 1000)
    later = Later()
    session = ReviewSession(viewer, later)
    path = tmp_path / "tiled.tif"
    tifffile.imwrite(path, np.zeros((128, 128), np.uint8), tile=(64, 64))
    data, keywords, _ = read_images(str(path))[0]
    viewer.add_image(data, **keywords)
    viewer.layers.selection.active = None
    viewer.layers.selection.active = viewer.layers[0]
    assert len(later.waiting) == 1
    small = Micrograph(np.zeros((20, 20), np.uint8), None, Source("small.png"))
    pixels, names, _ = layer_of(small)
    viewer.layers.selection.active = viewer.add_image(pixels, **names)
    later.finish()
    assert session.current.image is small
    viewer.layers.selection.active = viewer.layers[0]
    assert session.current.entry.file == "tiled.tif"
    viewer.layers.clear()
    path.write_bytes(path.read_bytes()[:-2000])
    heard = Heard(session)
    viewer.add_image(data, **keywords)
    later.finish()
    assert not viewer.layers
    assert "truncated" in heard.events[-1][1]


def test_large_file_of_no_study_comes_from_a_worker(viewer, tmp_path):
    """Its layer comes when it is decoded, and is under review."""
    later = Later()
    session = ReviewSession(viewer, later)
    path = tmp_path / "plain.tif"
    tifffile.imwrite(path, np.full((50, 60), 7, np.uint8))
    session.open_loose(path)
    assert not viewer.layers
    later.finish()
    assert viewer.layers[0].name == session.current.entry.file == "plain.tif"


def test_what_napari_read_is_said(session, viewer):
    """A file that napari's own reader opened has lost its scale: it says how to have it measured."""
    heard = Heard(session)
    viewer._add_layer_from_data(np.zeros((8, 8)), {}, "image")
    assert heard.events == []
    with layer_source(path="plain.tif", reader_plugin="napari"):
        viewer.add_image(np.zeros((8, 8)))
    assert "choose surfscan" in heard.events[-1][1]


def test_scale_of_a_single_image(session, viewer):
    """An image of no study takes a scale as long as it is open: layer and image have it."""
    image = Micrograph(np.zeros((20, 30), np.uint8), None, Source("small.png"))
    data, keywords, _ = layer_of(image)
    viewer.add_image(data, **keywords)
    scale = Calibration(0.5, 0.25, 0.01, "stated")
    session.take_scale(scale)
    assert session.current.image.calibration == scale
    assert tuple(viewer.layers[0].scale) == (0.25, 0.5)
    assert session.image_layer is viewer.layers[0]


def test_saving_elsewhere_is_seen_again(session, study):
    """After a save the state and the results of the image are read again; the screen stays."""
    session.open_study(study)
    before, layer = session.current, session.image_layer
    session.item_changed.emit(IDS[0])
    assert session.current is not before
    assert session.image_layer is layer


def test_one_session_a_viewer(viewer):
    """Every panel of a viewer finds the same session; another viewer has its own."""
    assert session_of(viewer) is session_of(viewer)
    assert session_of(ViewerModel()) is not session_of(viewer)


def test_study_on_a_disk_that_is_gone(session, study):
    """States of a study whose files vanished are said, not raised."""
    session.open_study(study)
    shutil.rmtree(study / "images")
    session.look_at_states()
    assert {item.state for item in session.items} == {"failed"}
