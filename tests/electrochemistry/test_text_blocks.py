import hashlib

import pytest

from surfscan.electrochemistry import text_blocks
from surfscan.electrochemistry.text_blocks import TextBlocks, decode
from surfscan.errors import InputError

TEXT = "".join(f"line {k} µ\n" for k in range(300))


@pytest.fixture
def path(tmp_path):
    return tmp_path / "text.txt"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("size", [64, 67, 2**22])
def test_blocks_of_whole_lines_make_the_text(path, monkeypatch, encoding, end, size):
    monkeypatch.setattr(text_blocks, "BLOCK_BYTES", size)
    path.write_bytes(TEXT.replace("\n", end).encode(encoding))
    blocks = TextBlocks(path)
    found = list(blocks)
    assert all(block.endswith(b"\n") for block in found)
    assert b"".join(found).decode() == TEXT
    assert blocks.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert blocks.ends_with_newline


def test_a_last_line_without_end_gets_one(path):
    path.write_text("a\nb")
    blocks = TextBlocks(path)
    assert b"".join(blocks) == b"a\nb\n"
    assert not blocks.ends_with_newline


@pytest.mark.parametrize(
    ("data", "fault"),
    [
        (b"", "empty"),
        (b"PK\x03\x04", "workbook"),
        (b"\xd0\xcf\x11\xe0", "workbook"),
        (b"a\nb\0c\n", "no text"),
        (b"a\nb\0c", "no text"),
        (b"x" * 70_000, "longer than"),
    ],
)
def test_what_is_no_text(path, data, fault):
    path.write_bytes(data)
    with pytest.raises(InputError, match=fault):
        list(TextBlocks(path))


def test_windows_letters():
    assert decode("i (µA/cm²)".encode("cp1252")) == "i (µA/cm²)"
    assert decode("i (µA/cm²)".encode()) == "i (µA/cm²)"
