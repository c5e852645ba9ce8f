"""Character recognition: offline, quiet, and plain about what is missing."""

import importlib.util
import logging
import socket

import numpy as np
import pytest

from surfscan.calibration import label_reading
from surfscan.calibration.label_reading import is_plain, read_labels, why_unreadable


@pytest.fixture
def plate(draw_bar):
    return draw_bar(np.full((260, 360), 150, np.uint8), "50 µm")


def test_it_can_read_here():
    """The extra belongs to the test environment."""
    assert why_unreadable() is None


def test_reads_text_where_it_stands(plate, monkeypatch):
    def no_network(*_, **__):
        raise AssertionError("the network was asked")

    monkeypatch.setattr(socket.socket, "connect", no_network)
    found = read_labels(plate, (150, 230, 20, 200))
    exact = [t for t in found if t.text.replace(" ", "") in ("50µm", "50μm", "50um")]
    assert len({t.rendering for t in exact}) >= 4
    assert all(t.score > 0.6 for t in exact)
    row0, row1, col0, col1 = exact[0].box
    assert 155 < row0 < row1 < 205
    assert 40 < col0 < col1 < 150


def test_either_polarity_and_colour(plate):
    """Dark on light reads like light on dark, and coloured text is read by its distance from the ink."""
    assert any("50" in t.text for t in read_labels(255 - plate))
    coloured = np.dstack([plate, plate // 4, plate // 4])
    texts = read_labels(coloured, ink=np.array([255, 63, 63]))
    assert any("50" in t.text for t in texts if not is_plain(t.rendering))


def test_two_readings_are_alike(plate):
    assert read_labels(plate) == read_labels(plate)


def test_it_says_nothing_by_itself(plate, capfd):
    read_labels(plate)
    shown = capfd.readouterr()
    assert shown.out == shown.err == ""
    assert logging.getLogger("RapidOCR").level >= logging.ERROR


def test_no_text():
    assert read_labels(np.full((100, 200), 90, np.uint8)) == []


def test_without_the_extra(plate, monkeypatch):
    real = importlib.util.find_spec
    monkeypatch.setattr(
        label_reading.importlib.util, "find_spec", lambda name: None if name == "rapidocr" else real(name)
    )
    assert read_labels(plate) == []
    assert "surfscan[ocr]" in why_unreadable()
    assert "rapidocr" in why_unreadable()


def test_without_its_models(monkeypatch):
    monkeypatch.setattr(label_reading, "_models", lambda: None)
    assert "models" in why_unreadable()


def test_nonsense(plate):
    with pytest.raises(ValueError, match="uint8"):
        read_labels(plate.astype(np.float32))
    with pytest.raises(ValueError, match="no pixel"):
        read_labels(plate, (10, 10, 0, 50))
