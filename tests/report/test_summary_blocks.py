"""Blocks of a summary."""

from surfscan.report.summary_blocks import Block, Shown


def test_defaults_say_nothing():
    block = Block("Title")
    assert (block.headline, block.lines, block.badge, block.state, block.wide) == ((), (), "", "", False)


def test_a_figure_keeps_its_number():
    shown = Shown("5.8", value=0.0584, after="%", whose="U28-3")
    assert shown.data == {"value": "0.0584"} and shown.whose == "U28-3"
