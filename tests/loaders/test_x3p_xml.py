import time
from pathlib import Path

import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.loaders.x3p_xml import MAX_ELEMENTS, Axis, read_record

PATH = Path("a.x3p")


def read(text):
    return read_record(PATH, text.encode())


def test_everything_that_is_read(x3p_record, linked):
    link, _ = linked(b"", b"")
    axis = x3p_record.axis
    record = read(x3p_record(z=axis("A", "I", "2e-9", "-0.5"), y=axis("A", "F", "2"), points=link))
    assert record.feature == "SUR" and record.shape == (1, 2, 3) and record.list_length == 0
    assert record.x == Axis(True, np.dtype("<f8"), 1e-6, 0.0)
    assert record.y == Axis(False, np.dtype("<f4"), 2.0, 0.0)
    assert record.z == Axis(False, np.dtype("<i2"), 2e-9, -0.5)
    assert record.points_link == "bindata/data.bin" and record.mask_link == "bindata/valid.bin"
    assert record.points_md5 == record.mask_md5 == "d41d8cd98f00b204e9800998ecf8427e"
    assert record.inline is None and record.checksum_link == "md5checksum.hex" and not record.is_rotated


@pytest.mark.parametrize(("letter", "dtype"), [("I", "<i2"), ("L", "<i4"), ("F", "<f4"), ("D", "<f8")])
def test_number_types(x3p_record, letter, dtype):
    assert read(x3p_record(z=x3p_record.axis("A", letter))).z.dtype == np.dtype(dtype)


def test_what_may_be_left_out(x3p_record):
    axis = x3p_record.axis
    record = read(
        x3p_record(
            x=axis("I", None, None, None),
            z=axis("A", "D", None, None),
            size="<MatrixDimension><SizeX>1</SizeX><SizeY>1</SizeY></MatrixDimension>",
        )
    )
    assert record.x.increment is None and record.z.increment is None and record.z.offset == 0
    assert record.shape == (1, 1, 1)


def test_a_list_in_the_record(x3p_record):
    data = "<DataList><Datum>1;2</Datum><!-- gap --><Datum/><Datum> 3;4 </Datum></DataList>"
    record = read(x3p_record(size="<ListDimension>3</ListDimension>", points=data, feature="PCL"))
    assert record.inline == ("1;2", "", " 3;4 ") and record.shape is None and record.list_length == 3


@pytest.mark.parametrize("start", ["", "\ufeff"])
@pytest.mark.parametrize("namespace", ["http://www.opengps.eu/2008/ISO5436_2", "urn:another"])
def test_byte_order_mark_and_namespace_do_not_matter(x3p_record, start, namespace):
    assert read(start + x3p_record(namespace=namespace)).shape == (1, 2, 3)


def test_a_record_without_namespace(x3p_record):
    assert read(x3p_record().replace("p:ISO", "ISO")).shape == (1, 2, 3)


@pytest.mark.parametrize(("value", "rotated"), [("1.0", False), ("0.9999999", False), ("0.9", True)])
def test_rotation(x3p_record, value, rotated):
    text = f"<Rotation><r11>{value}</r11><r12>0</r12></Rotation>"
    assert read(x3p_record(extra=text)).is_rotated is rotated


@pytest.mark.parametrize("digest", ["", "none", "0" * 32, "12"])
def test_what_is_no_checksum_is_none(x3p_record, linked, digest):
    link, _ = linked(b"", points_md5=digest)
    assert read(x3p_record(points=link)).points_md5 == ""


@pytest.mark.parametrize(("old", "new", "fault"), [
    ("p:ISO5436_2", "p:Other", "outermost element is 'Other'"),
    ("</Record1>", "", "it is no XML"),
    ("<Record1>", "<Record9>", "it is no XML"),
    ("Record3>", "Record7>", "Record3 is missing"),
    ("Axes>", "Axis>", "Axes is missing"),
    ("CZ>", "CW>", "CZ is missing"),
    ("SUR", "VOL", "FeatureType is 'VOL'"),
    ("<AxisType>I<", "<AxisType>R<", "AxisType of CX is 'R'"),
    ("<AxisType>A<", "<AxisType>I<", "CZ is incremental"),
    ("<DataType>D<", "<DataType>Q<", "DataType of CX is 'Q'"),
    ("1e-06", "nan", "Increment of CX is 'nan', not a finite number"),
    ("1e-06", "inf", "Increment of CX is 'inf', not a finite number"),
    ("1e-06", "wide", "Increment of CX is 'wide', not a finite number"),
    ("1e-06", "0", "Increment of CX is 0; it must be above 0"),
    ("1e-06", "-1e-06", "Increment of CX is -1e-06; it must be above 0"),
    ("<SizeX>3", "<SizeX>3.5", "SizeX is '3.5', not a whole number"),
    ("<SizeX>3", "<SizeX>-3", "SizeX is '-3', not a whole number"),
    ("<SizeX>3", "<SizeX>" + "9" * 400, "SizeX is '999"),
    ("MatrixDimension", "Dimension", "neither MatrixDimension nor ListDimension"),
    ("<DataList/>", "<DataList><Datum>1<b/></Datum></DataList>", "elements inside a Datum"),
    ("<DataList/>", "", "either in a DataLink or in a DataList"),
    ("<DataList/>", "<DataList/><DataLink/>", "either in a DataLink or in a DataList"),
    ('encoding="UTF-8"', 'encoding="nonsense"', "it is no XML"),
])  # fmt: skip
def test_faults_are_named(x3p_record, old, new, fault):
    text = x3p_record()
    assert old in text
    with pytest.raises(InputError, match=fault) as caught:
        read(text.replace(old, new))
    assert len(str(caught.value)) < 300


@pytest.mark.parametrize("letter", ["I", "L"])
def test_whole_numbers_times_nothing_are_no_heights(x3p_record, letter):
    with pytest.raises(InputError, match="Increment of CZ is 0"):
        read(x3p_record(z=x3p_record.axis("A", letter, "0")))


def hostile(name):
    return {
        "billion laughs": '<!DOCTYPE p [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]><p>&b;</p>',
        "quadratic": f'<!DOCTYPE p [<!ENTITY a "{"x" * 100_000}">]><p>{"&a;" * 10_000}</p>',
        "external file": '<!DOCTYPE p [<!ENTITY a SYSTEM "file:///etc/passwd">]><p>&a;</p>',
        "external schema": '<!DOCTYPE p SYSTEM "http://localhost/p.dtd"><p/>',
        "parameter": '<!DOCTYPE p [<!ENTITY % a SYSTEM "http://localhost/p.dtd">%a;]><p/>',
        "bare": "<!DOCTYPE p><p/>",
    }[name]


@pytest.mark.parametrize(
    "name", ["billion laughs", "quadratic", "external file", "external schema", "parameter", "bare"]
)
def test_entities_and_document_types(name):
    start = time.process_time()
    with pytest.raises(InputError, match="declares a document type or entities"):
        read(hostile(name))
    assert time.process_time() - start < 1


@pytest.mark.parametrize(("text", "fault"), [
    ("<a>" * 1_000_000, "nested more than"),
    ("<a>" + "<b/>" * 3_000_000 + "</a>", f"more than {MAX_ELEMENTS} elements"),
    ("<a " + " ".join(f"a{n}='1'" for n in range(400_000)) + "/>", "a tag or comment is longer"),
    ("<a " + " ".join(f"a{n}='1'" for n in range(9_000)) + "/>", "more than 64 attributes"),
    ("<a " + " ".join(f"xmlns:a{n}='{n}'" for n in range(5_000)) + "/>", "more than 64 namespaces"),
    ("<a><!--" + "-." * 500_000 + "--></a>", "a tag or comment is longer"),
    ("<a>" + "&undefined;" * 10 + "</a>", "no XML"),
    ("", "no XML"),
    ("\0" * 1000, "no XML"),
])  # fmt: skip
def test_xml_out_of_proportion(text, fault):
    start = time.process_time()
    with pytest.raises(InputError, match=fault):
        read(text)
    assert time.process_time() - start < 1
