"""The essentials of a study for a terminal."""

from surfscan.cli.essentials_text import essentials_lines
from surfscan.report.summary_blocks import Block, Shown


def test_titles_headlines_badges_and_lines():
    blocks = [
        Block("Exposure", badge="Exposure valid", lines=["One log."]),
        Block("Struts lost", [Shown("2", after="broken"), Shown("0", after="cracked")]),
        Block("Deepest pit", [Shown("≥\u00a08.82", after="µm")]),
    ]
    assert essentials_lines(blocks, None, []) == [
        "Exposure: Exposure valid",
        "  One log.",
        "Struts lost: 2 broken; 0 cracked",
        "Deepest pit: ≥ 8.82 µm",
    ]


def test_long_lines_are_wrapped_and_drawings_left_out():
    blocks = [Block("A", lines=["word " * 40]), Block("Rates", drawing="<svg/>")]
    lines = essentials_lines(blocks, None, [])
    assert len(lines) > 2 and all(len(line) <= 100 for line in lines) and not any("svg" in s for s in lines)
