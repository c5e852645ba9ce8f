"""Block maxima from tables: what is read, what is refused, where."""

import hashlib

import pytest

from surfscan.errors import InputError
from surfscan.procedures.maxima_table import read_maxima

PLAIN = "block,max_depth_um,shadowed\nA,12.5,false\nB,9,true\nC,1.1e1,\n"


@pytest.fixture
def written(tmp_path):
    """Write a text or bytes as a table."""

    def write(content, name="maxima.csv"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        return path

    return write


@pytest.mark.parametrize(
    "content",
    [
        PLAIN,
        PLAIN.replace(",", ";").replace(".", ","),
        PLAIN.replace(",", "\t"),
        PLAIN.replace(",", "\t").replace(".", ","),
        "\ufeff" + PLAIN.replace("\n", "\r\n"),
        "# a note; with, marks\n\n" + PLAIN.replace("\n", "\n\n"),
        'block,max_depth_um,shadowed\n"A, left","12,5",no\nB,9,YES\nC,"11",0\n',
        PLAIN.encode("utf-8").replace(b"block", b"fl\xe4che"),
    ],
)
def test_one_table_in_many_dresses(written, content):
    table = read_maxima(written(content), "max_depth_um", "shadowed")
    assert table.values.tolist() == [12.5, 9.0, 11.0]
    assert table.censored.tolist() == [False, True, False]
    assert table.below is None
    assert table.unit == "µm"


def test_source_names_path_and_hash(written):
    path = written(PLAIN)
    source = read_maxima(path, "max_depth_um").source
    assert source.path == str(path)
    assert source.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_both_marks(written):
    path = written("d_mm,lo,hi\n1,1,0\n2,0,1\n3,,\n")
    table = read_maxima(path, "d_mm", "lo", "hi")
    assert table.censored.tolist() == [True, False, False]
    assert table.below.tolist() == [False, True, False]
    assert table.unit == "mm"
    assert read_maxima(path, "d_mm", below_column="hi").below.tolist() == [False, True, False]
    assert read_maxima(written("d\n1\n"), "d").unit == ""


def test_mark_that_was_not_named_is_warned_about(written):
    path = written("max_depth_um,max_depth_is_lower_bound\n1,true\n2,false\n")
    assert "--censored max_depth_is_lower_bound" in read_maxima(path, "max_depth_um").warnings[0]
    assert read_maxima(path, "max_depth_um", "max_depth_is_lower_bound").warnings == ()


@pytest.mark.parametrize(
    ("content", "place", "said"),
    [
        ("d,e\n1,2\nx,3\n", ":3", "'x', which is no number"),
        ("d;e\n1;2\n1.234,5;3\n", ":3", "no number"),
        ("d,e\n1_0,2\n", ":2", "no number"),
        ('d,e\n"1,234",2\n', ":2", "decimal or thousands"),
        ("d,e\n1,2\n,3\n", ":3", "d is empty"),
        ("d,e\n1,2\n3\n", ":3", "has 1 cells, the header 2"),
        ("\n# note\nd,e,d\n1,2,3\n", ":3", "2 columns named 'd'"),
        ("depth,e\n1,2\n", ":1", "no column 'd'"),
        ("d,e\n", "", "no rows"),
        ("", "", "is empty"),
        (b"d\0\0e", "", "not a text table"),
        ('d,e\n"' + "1" * 200_000 + '",2\n', ":2", "field larger"),
    ],
)
def test_what_cannot_be_read(written, content, place, said):
    """The message names file and line."""
    path = written(content)
    with pytest.raises(InputError) as caught:
        read_maxima(path, "d")
    assert said in str(caught.value)
    assert caught.value.path == f"{path}{place}"


def test_odd_mark_is_refused(written):
    path = written("d,c\n1,maybe\n")
    with pytest.raises(InputError, match=r"'maybe'.*true or false"):
        read_maxima(path, "d", "c")


def test_near_names_are_offered(written):
    path = written(PLAIN)
    with pytest.raises(InputError, match="Did you mean 'max_depth_um'"):
        read_maxima(path, "max_depth")
    with pytest.raises(InputError, match="The columns are: block, max_depth_um, shadowed"):
        read_maxima(path, "zzz")


def test_missing_file(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        read_maxima(tmp_path / "none.csv", "d")
    with pytest.raises(InputError, match="cannot be read"):
        read_maxima(tmp_path, "d")
