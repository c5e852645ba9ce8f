"""Errors in plain words in the panel, with details to copy."""

import pytest
from napari_surfscan.messages import MessageLine, words_for
from qtpy.QtWidgets import QApplication

from surfscan.errors import InputError


def _raised(error):
    try:
        raise error
    except type(error) as caught:
        return caught


def test_input_errors_say_themselves():
    """What is wrong and what to do, without a traceback in the words."""
    words, details = words_for(_raised(InputError("a.tif", "is empty", "Export it again")))
    assert words == "a.tif: is empty. Export it again."
    assert "Traceback" in details


@pytest.mark.parametrize(("error", "said"), [(KeyError("x"), "surfscan itself"), (MemoryError(), "memory")])
def test_other_errors_are_ours(error, said):
    """Anything else is called a fault of ours, and the details hold the traceback."""
    words, details = words_for(_raised(error))
    assert said in words
    assert type(error).__name__ in details


def test_line_shows_details_on_demand_and_copies_them(qtbot):
    """Hidden while there is nothing to say; details open by a button and go to the clipboard."""
    line = MessageLine()
    qtbot.addWidget(line)
    assert line.isHidden()
    line.fail(_raised(KeyError("x")))
    line.show()
    assert line.words.isVisible()
    assert not line._text.isVisible()
    line._more.click()
    assert "KeyError" in line._text.toPlainText()
    assert line._text.isVisible()
    line._copy.click()
    assert "KeyError" in QApplication.clipboard().text()
    line.say("All well.")
    assert not line._text.isVisible()
    assert line._more.isHidden()
    line.clear()
    assert line.isHidden()
