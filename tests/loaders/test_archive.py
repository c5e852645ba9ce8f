import io
import struct
import time
import tracemalloc
import zipfile

import pytest

from surfscan.errors import InputError
from surfscan.loaders import archive
from surfscan.loaders.archive import CHUNK, MAX_LIST_OF_CONTENTS, Archive

LINK, LOCAL, CENTRAL = 0o120777 << 16, b"PK\x03\x04", b"PK\x01\x02"


@pytest.fixture
def packed(tmp_path):
    """Write members (name, data) as a zip file, then change its bytes."""

    def write(*members, change=lambda data: data, method=zipfile.ZIP_DEFLATED, attributes=0):
        held = io.BytesIO()
        with zipfile.ZipFile(held, "w") as file:
            for name, data in members:
                info = zipfile.ZipInfo(name)
                info.external_attr = attributes
                file.writestr(info, data, method)
        path = tmp_path / "a.zip"
        path.write_bytes(change(held.getvalue()))
        return path

    return write


def at_central(offset, form, value):
    """Change a field of the first entry in the list of contents."""

    def change(data):
        damaged = bytearray(data)
        struct.pack_into(form, damaged, damaged.index(CENTRAL) + offset, value)
        return bytes(damaged)

    return change


def test_names_sizes_and_contents(packed):
    body = bytes(range(256)) * 4096
    with Archive(packed(("folder/", b""), ("folder/a.bin", body), ("b\\c.txt", b"text"))) as held:
        assert held.names == ["folder/a.bin", "b/c.txt"]
        assert held.size("folder/a.bin") == len(body)
        pieces = list(held.chunks("folder/a.bin"))
        assert b"".join(pieces) == body and max(map(len, pieces)) <= CHUNK
        assert held.read("b/c.txt", 4) == b"text"
        assert held.find("Folder/A.BIN") == "folder/a.bin" and held.find("a.bin") is None
        with pytest.raises(InputError, match="above the limit of 3"):
            held.read("b/c.txt", 3)


@pytest.mark.parametrize("name", ["../a", "a/../../b", "/etc/a", "C:/a", "..\\a", "\\a"])
def test_names_that_lead_out(packed, name):
    with pytest.raises(InputError, match="points outside"):
        Archive(packed((name, b"x")))


def test_links(packed):
    with pytest.raises(InputError, match="'a' of the archive is a link"):
        Archive(packed(("a", b"/etc/passwd"), attributes=LINK))


@pytest.mark.filterwarnings("ignore:Duplicate name:UserWarning")
@pytest.mark.parametrize("second", ["a.bin", "A.bin"])
def test_two_of_a_name(packed, second):
    with pytest.raises(InputError, match="two members"):
        Archive(packed(("a.bin", b"1"), (second, b"2")))


def test_encrypted(packed):
    with pytest.raises(InputError, match="encrypted"):
        Archive(packed(("a", b"1"), change=at_central(8, "<H", 1)))


def test_other_compressions(packed):
    with pytest.raises(InputError, match="compressed in a way"):
        Archive(packed(("a", b"1" * 100), method=zipfile.ZIP_BZIP2))


def test_a_claim_that_its_bytes_cannot_hold(packed):
    """Terabytes in the list of contents: refused from the claim alone."""
    path = packed(("a", bytes(1000)), change=at_central(24, "<I", 0xFFFFFFF0))
    tracemalloc.start()
    with Archive(path) as held, pytest.raises(InputError, match=r"a claims 4294967280 bytes in \d+"):
        held.size("a")
    assert tracemalloc.get_traced_memory()[1] < 2e6
    tracemalloc.stop()


def test_a_zip_bomb(packed):
    start = time.process_time()
    path = packed(("a", bytes(archive.BOMB_SIZE + 1)))
    written = time.process_time()
    with Archive(path) as held, pytest.raises(InputError, match=r"would grow from 0\.261 MB"):
        next(held.chunks("a"))
    assert time.process_time() - written < 0.2 * (written - start) + 0.1


@pytest.mark.parametrize(("offset", "form", "value"), [
    (24, "<I", 3000),  # more than there is, though possible
    (24, "<I", 10),  # less
    (16, "<I", 1),  # CRC-32
    (42, "<I", 5),  # where it starts
    (20, "<I", 3),  # compressed bytes
])  # fmt: skip
def test_claims_that_are_not_so(packed, offset, form, value):
    body = bytes(i * i % 251 for i in range(2000))
    path = packed(("a", body), change=at_central(offset, form, value))
    with pytest.raises(InputError, match=r"damaged|claims"), Archive(path) as held:
        held.read("a", 10**6)


def test_a_long_list_of_contents_is_not_read(tmp_path):
    """The end record says where the list is and how long: a liar is found before anything is read."""
    path = tmp_path / "a.zip"
    listed = MAX_LIST_OF_CONTENTS + 1
    path.write_bytes(LOCAL + bytes(listed) + struct.pack("<4s4H2IH", b"PK\5\6", 0, 0, 1, 1, listed, 4, 0))
    with pytest.raises(InputError, match="list of contents claims"):
        Archive(path)


@pytest.mark.parametrize("keep", [4, 30, 60, -1, -22, -40])
def test_cut_short(packed, keep):
    with pytest.raises(InputError, match="damaged"):
        Archive(packed(("a", b"x" * 50), change=lambda data: data[:keep]))
