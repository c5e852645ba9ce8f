"""Logs read as a stream: the same whatever the blocks, and clear where they cannot be read."""

import numpy as np
import pytest

from surfscan.electrochemistry import text_blocks
from surfscan.errors import InputError
from surfscan.immersion import log_reading
from surfscan.immersion.exposure_settings import ExposureSettings
from surfscan.immersion.log_reading import LogReader


def read(path, **settings):
    reader = LogReader(path, ExposureSettings(**settings))
    pages = list(reader.pages())
    return (
        reader,
        np.concatenate([page.time_us for page in pages]),
        np.concatenate([page.values for page in pages], axis=1),
        np.concatenate([page.line for page in pages]),
    )


def rows(n):
    rng = np.random.default_rng(6)
    return [
        (f"{a:.2f}", f"{b:.3f}")
        for a, b in zip(rng.normal(37, 0.1, n), rng.normal(7.4, 0.02, n), strict=True)
    ]


def test_tiny_blocks_and_pages_change_nothing(write_log, monkeypatch):
    lines = rows(3000)
    lines[1500] = ("ERR", "7.4")
    path = write_log("time,temperature (°C),pH", lines)
    reader, times, values, line = read(path)
    monkeypatch.setattr(text_blocks, "BLOCK_BYTES", 1000)
    monkeypatch.setattr(log_reading, "_HEAD_BYTES", 3000)
    monkeypatch.setattr(log_reading, "PAGE_ROWS", 77)
    again, *arrays = read(path)
    for one, other in zip((times, values, line), arrays, strict=True):
        assert one.tobytes() == other.tobytes()
    assert again.faults["temperature"].places == reader.faults["temperature"].places == [(1502, "'ERR'")]
    assert again.sha256 == reader.sha256 != ""
    assert (np.diff(times) == 60_000_000).all()
    assert line.tolist() == list(range(2, 3002))


@pytest.mark.parametrize(
    ("heading", "form", "separator", "comma"),
    [
        ("time,temperature (°C),pH", "%Y-%m-%dT%H:%M:%S", ",", False),
        ("time,temperature (°C),pH", "%Y-%m-%d %H:%M:%SZ", ",", False),
        ("Zeit;Temperatur [°C];pH", "%d.%m.%Y %H:%M:%S", ";", True),
        ("Datum;Uhrzeit;Temperatur [°C];pH", "%d.%m.%Y;%H:%M:%S", ";", True),
        ("Date\tTime\tT/°C\tpH", "%Y/%m/%d\t%H:%M:%S", "\t", False),
        ("time temperature_degC pH", "%Y-%m-%d %H:%M:%S", " ", False),
        ("rig 3\noperator: none\n\ntime,T,pH\n,°C,\n", "%Y-%m-%d %H:%M", ",", False),
        ("time,temperature (°C),pH", "%m/%d/%Y %I:%M:%S %p", ",", False),
    ],
)
def test_forms(write_log, heading, form, separator, comma):
    given = [tuple(text.replace(".", ",") if comma else text for text in row) for row in rows(40)]
    path = write_log(heading, given, form=form, separator=separator, start="2001-02-14T08:00:00")
    reader, times, values, _ = read(path)
    assert [channel.name for channel in reader.form.channels] == ["temperature", "pH"]
    assert times[0] == np.datetime64("2001-02-14T08:00", "us").astype(np.int64)
    assert (np.diff(times) == 60_000_000).all()
    assert values.T.tolist() == [[float(a), float(b)] for a, b in rows(40)]


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_encodings(write_log, encoding):
    path = write_log("time,temperature (°C),pH", rows(50))
    path.write_bytes(path.read_text(encoding="utf-8").replace("\n", "\r\n").encode(encoding))
    assert read(path)[2].shape == (2, 50)


@pytest.mark.parametrize(
    ("content", "fault"),
    [
        (b"", "is empty"),
        (b"time,temperature (\xc2\xb0C),pH\n", "holds no readings"),
        (b"Dear colleague,\nhere is the log, as promised.\n", "holds no readings"),
        (b"PK\x03\x04rest", "workbook"),
        (b"time,pH\n0\x00,7\n", "binary"),
        (b"time (s),level\n1,2\n2,3\n3,4\n", "no column is known as temperature"),
        (b"pH,temperature (K)\n7,310\n7,310\n", "no column tells the time"),
        (b"time;T (\xc2\xb0C)\n1;2,345\n2;2,345\n", "no unit of time"),
        (b"time (s)\tflow (mL/min)\n1\t2,345\n2\t2,345\n", "decimal comma or a thousands"),
        (b"time,pH\n02/03/2001 08:00,7\n02/03/2001 08:01,7\n", "day first or month first"),
        (b"time (s),T,flow\n1,98.6,5\n2,98.6,5\n", "no column is known"),
    ],
)
def test_refused(tmp_path, content, fault):
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    with pytest.raises(InputError, match=fault):
        read(path)


def test_missing_file(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        read(tmp_path / "none.csv")


def test_stated_column_that_is_not_there(write_log):
    path = write_log("time,temperature (°C),pH", rows(10))
    with pytest.raises(InputError, match="no column 'T9' for temperature"):
        read(path, columns={"temperature": "T9"})


def test_an_abandoned_stream_ends_its_threads(write_log, monkeypatch):
    monkeypatch.setattr(text_blocks, "BLOCK_BYTES", 500)
    monkeypatch.setattr(log_reading, "_HEAD_BYTES", 500)
    monkeypatch.setattr(log_reading, "PAGE_ROWS", 10)
    reader = LogReader(write_log("time,temperature (°C),pH", rows(500)), ExposureSettings())
    pages = reader.pages()
    next(pages)
    pages.close()
    assert reader.sha256 == ""
