"""Start and stop of an exposure."""

from pathlib import Path

import pytest

from surfscan.errors import InputError
from surfscan.immersion.exposure_window import find_window, stamp_text
from surfscan.immersion.log_blocks import TimeForm

HOUR = 3_600_000_000
LOCAL, UTC, ELAPSED = (
    TimeForm("stamp", (0,)),
    TimeForm("stamp", (0,), has_zone=True),
    TimeForm("elapsed", (0,), 1e6),
)


def window(form, start=None, stop=None, first_us=2 * HOUR):
    found = find_window(Path("log.csv"), form, first_us, start, stop)
    return found.start_us, found.stop_us


def test_hours_and_stamps():
    assert window(LOCAL) == (None, None)
    assert window(ELAPSED, "1.5", 3) == (2 * HOUR + 1.5 * HOUR, 5 * HOUR)
    assert window(LOCAL, "1970-01-01T01:00", "01.01.1970 06:00") == (HOUR, 6 * HOUR)
    assert window(UTC, "1970-01-01T02:00+01:00") == (HOUR, None)
    assert find_window(Path("log.csv"), LOCAL, 0, "1970-01-01T01:00", 9).is_start_stamp
    assert not find_window(Path("log.csv"), LOCAL, 0, "1970-01-01T01:00", 9).is_stop_stamp


@pytest.mark.parametrize(
    ("form", "start", "stop", "fault"),
    [
        (LOCAL, "soon", None, "neither a stamp nor"),
        (LOCAL, "08:00", None, "neither a stamp nor"),
        (ELAPSED, "1970-01-01T01:00", None, "the log has none"),
        (UTC, "1970-01-01T01:00", None, "has a zone"),
        (LOCAL, "1970-01-01T01:00Z", None, "has not a zone"),
        (LOCAL, 3, 2, "does not follow"),
        (LOCAL, None, "1970-01-01T01:00", "does not follow"),
        (LOCAL, float("nan"), None, "neither"),
    ],
)
def test_refused(form, start, stop, fault):
    with pytest.raises(InputError, match=fault):
        window(form, start, stop)


def test_text():
    assert stamp_text(HOUR, LOCAL) == "1970-01-01T01:00:00"
    assert stamp_text(HOUR + 250_000, UTC) == "1970-01-01T01:00:00.25Z"
