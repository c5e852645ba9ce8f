"""Time stamps: against the standard library, one by one and as columns."""

import datetime as dt

import numpy as np
import pytest

from surfscan.immersion.log_times import DAY_US, date_order, read_stamp, read_stamps, stamp_parts

EPOCH = dt.datetime(1970, 1, 1)


def us(*parts):
    return (dt.datetime(*parts) - EPOCH) // dt.timedelta(microseconds=1)


KNOWN = [
    ("2001-02-03T04:05:06", us(2001, 2, 3, 4, 5, 6)),
    ("2001-02-03 04:05", us(2001, 2, 3, 4, 5)),
    ("2001-02-03T04:05:06.25", us(2001, 2, 3, 4, 5, 6, 250000)),
    ("2001-02-03T04:05:06,5Z", us(2001, 2, 3, 4, 5, 6, 500000)),
    ("2001-02-03T04:05:06.123456789", us(2001, 2, 3, 4, 5, 6, 123456)),
    ("2001-02-03T04:05:06+02:00", us(2001, 2, 3, 2, 5, 6)),
    ("2001-02-03 04:05:06 -0330", us(2001, 2, 3, 7, 35, 6)),
    ("20010203T040506", us(2001, 2, 3, 4, 5, 6)),
    ("03.02.2001 04:05:06", us(2001, 2, 3, 4, 5, 6)),
    ("3-Feb-2001 04:05:06", us(2001, 2, 3, 4, 5, 6)),
    ("03/02/2001 4:05:06 PM", us(2001, 3, 2, 16, 5, 6)),
    ("03/02/01 12:00:01 AM", us(2001, 3, 2, 0, 0, 1)),
    ("03/02/2001 12:00 pm", us(2001, 3, 2, 12, 0)),
    ("2001/2/3 4:05", us(2001, 2, 3, 4, 5)),
    ("2001-02-03", us(2001, 2, 3)),
    ("04:05:06", us(1970, 1, 1, 4, 5, 6)),
    ("120:00:30", 5 * DAY_US + 30_000_000),
    ("2000-02-29T23:59:59.9", us(2000, 2, 29, 23, 59, 59, 900000)),
]
UNREADABLE = [
    "", "37.0", "2001-02-30 04:05", "2001-13-01", "2001-02-03T24:05", "2001-02-03T04:60", "04:05:61",
    "yesterday", "2001-02-03T", "13:00 PM", "0:30 AM", "1-Foo-2001", "2001-02-03T04:05 XYZ", "PM",
]  # fmt: skip


@pytest.mark.parametrize(("text", "expected"), KNOWN)
def test_one(text, expected):
    assert read_stamp(text.encode(), day_first=False) == expected


@pytest.mark.parametrize("text", UNREADABLE)
def test_no_time(text):
    assert read_stamp(text.encode(), day_first=False) is None


def column(texts):
    data = "\n".join([*texts, ""]).encode()
    ends = np.flatnonzero(np.frombuffer(data, np.uint8) == 10)
    return data, np.concatenate([[0], ends[:-1] + 1]), ends


@pytest.mark.parametrize("first", range(len(KNOWN)))
def test_columns_are_as_one_by_one(first):
    """Whatever the first of its length is spelled like, every field comes out as alone."""
    known = [text for text, _ in KNOWN]
    texts = [*known[first:], *UNREADABLE[1:], *known[:first]]
    found, is_time = read_stamps(*column(texts), False)
    for text, value, fits in zip(texts, found.tolist(), is_time.tolist(), strict=True):
        alone = read_stamp(text.encode(), day_first=False)
        assert fits == (alone is not None), text
        assert not fits or value == alone, text


@pytest.mark.parametrize(
    "form", ["%Y-%m-%dT%H:%M:%S.%f", "%d.%m.%Y %H:%M:%S", "%m/%d/%Y %I:%M:%S %p", "%Y-%m-%d %H:%M"]
)
def test_a_run_of_days(form):
    """Long columns over midnight and new year against the standard library."""
    times = [dt.datetime(2003, 12, 30) + k * dt.timedelta(minutes=7, seconds=13.7) for k in range(900)]
    found, is_time = read_stamps(*column([time.strftime(form) for time in times]), False)
    again = [dt.datetime.strptime(time.strftime(form), form) for time in times]
    assert is_time.all()
    assert found.tolist() == [us(*time.timetuple()[:6], time.microsecond) for time in again]


def test_parts():
    assert stamp_parts(b"12:30") == stamp_parts(b"1:30:00.5")
    assert stamp_parts(b"2001-02-03T04:05Z").has_zone
    assert stamp_parts(b"2001-02-03").has_clock is False
    assert stamp_parts(b"7.4") is None


@pytest.mark.parametrize(
    ("dates", "order"),
    [
        (["2001-02-03"], "not needed"),
        (["03.02.2001"], "not needed"),
        (["13/02/2001", "14/02/2001"], "day_first"),
        (["02/13/2001"], "month_first"),
        (["02/03/2001"], None),
        (["02/03/2001", "02/04/2001", "02/05/2001"], "month_first"),
        (["02/03/2001", "03/03/2001", "04/03/2001"], "day_first"),
        (["03/03/2001"], None),
        (["13/13/2001"], None),
        (["13/02/2001", "02/13/2001"], None),
    ],
)
def test_date_order(dates, order):
    assert date_order([f"{date} 08:00".encode() for date in dates]) == order
