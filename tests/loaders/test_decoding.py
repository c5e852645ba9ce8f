import os
import threading

import cv2
import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.loaders.decoding import _decoder_messages, decode, to_rgb


def test_undecodable_bytes(tmp_path, capfd):
    with pytest.raises(InputError, match="cannot be decoded"):
        decode(tmp_path / "a.png", b"\x89PNG\r\n\x1a\n and nothing after")
    assert capfd.readouterr().err == ""


def test_lines_of_others_pass(capfd):
    with _decoder_messages() as messages:
        os.write(2, b"Corrupt JPEG data: something\nfrom somebody else\n")
    assert messages == ["Corrupt JPEG data: something"]
    assert capfd.readouterr().err == "from somebody else\n"


def test_without_standard_error(grey, tmp_path, monkeypatch):
    """A program without a console has no file descriptor 2; images still open."""

    def missing(descriptor):
        raise OSError(9, "Bad file descriptor")

    monkeypatch.setattr(os, "dup", missing)
    pixels, messages = decode(tmp_path / "a.png", cv2.imencode(".png", grey)[1].tobytes())
    np.testing.assert_array_equal(pixels, grey)
    assert messages == []


def test_several_threads_at_once(grey, tmp_path, capfd):
    whole = cv2.imencode(".jpg", grey)[1].tobytes()
    cut = whole[: len(whole) // 2] + whole[-2:]
    seen = {}

    def work(number):
        seen[number] = len(decode(tmp_path / "a.jpg", cut if number % 2 else whole)[1])

    threads = [threading.Thread(target=work, args=(n,)) for n in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert seen == {n: n % 2 for n in range(12)}
    assert capfd.readouterr().err == ""


def test_to_rgb(rgb):
    bgr = np.ascontiguousarray(rgb[..., ::-1])
    bgra = np.dstack([bgr, np.full(rgb.shape[:2], 255, np.uint8)])
    for pixels in (bgra, bgr):
        turned, opaque = to_rgb(pixels)
        np.testing.assert_array_equal(turned, rgb)
        assert opaque
    bgra[0, 0, 3] = 254
    grey, opaque = to_rgb(bgra, grey=True)
    np.testing.assert_array_equal(grey, rgb[..., 2])
    assert not opaque
