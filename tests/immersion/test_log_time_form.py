"""Which columns tell the time."""

import pytest

from surfscan.electrochemistry.table_form import TableForm
from surfscan.immersion.exposure_settings import ExposureSettings
from surfscan.immersion.log_channels import log_columns
from surfscan.immersion.log_time_form import date_samples, find_time


def told(headings, *rows, settings=None, sample=()):
    columns = log_columns([",".join(headings)], {",": 0}, len(headings))
    fields = [[field.encode() for field in row] for row in rows]
    return find_time(fields, columns, settings or ExposureSettings(), lambda _: [s.encode() for s in sample])


def test_stamps_come_before_numbers():
    form, _ = told(["elapsed (s)", "when"], ("0", "2001-02-03T04:05:06Z"), ("1", "2001-02-03T04:05:07Z"))
    assert (form.kind, form.columns, form.has_zone) == ("stamp", (1,), True)


def test_date_and_clock_apart():
    form, notes = told(["pH", "Date", "Time"], ("7", "14/02/2001", "04:05:06"))
    assert (form.columns, form.day_first) == ((1, 2), True)
    assert "day first" in notes[0]


@pytest.mark.parametrize(
    ("heading", "value", "kind", "factor"),
    [
        ("time (s)", "12.5", "elapsed", 1e6),
        ("elapsed [min]", "12.5", "elapsed", 6e7),
        ("t/h", "12,5", "elapsed", 3.6e9),
        ("time_s", "12.5", "elapsed", 1e6),
        ("seconds", "12.5", "elapsed", 1e6),
        ("timestamp", "983592306", "epoch", 1e6),
        ("timestamp", "983592306123", "epoch", 1e3),
        ("time", "04:05:06", "clock", 0.0),
        ("elapsed", "04:05:06", "elapsed", 0.0),
        ("time", "30:05:06", "elapsed", 0.0),
    ],
)
def test_kinds(heading, value, kind, factor):
    form, _ = told([heading, "pH"], (value, "7.4"), (value, "7.5"))
    assert (form.kind, form.columns, form.factor_us) == (kind, (0,), factor)


def test_stated():
    settings = ExposureSettings(columns={"time": 2}, units={"time": "epoch s"})
    form, _ = told(["a", "b"], ("1", "5"), ("2", "6"), settings=settings)
    assert (form.kind, form.columns, form.factor_us) == ("epoch", (1,), 1e6)


def test_order_told_further_on_in_the_file():
    form, _ = told(["time", "pH"], ("02/03/2001 08:00", "7"), sample=("02/03/2001 08:00", "02/14/2001 08:00"))
    assert form.day_first is False
    stated = ExposureSettings(date_order="day_first")
    assert told(["time", "pH"], ("02/03/2001 08:00", "7"), settings=stated)[0].day_first is True


@pytest.mark.parametrize(
    ("headings", "row", "fault"),
    [
        (["time", "pH"], ("12.5", "7.4"), "has no unit of time"),
        (["a", "pH"], ("12.5", "7.4"), "no column tells the time"),
        (["time", "pH"], ("02/03/2001 08:00", "7.4"), "may be day first or month first"),
    ],
)
def test_refused(headings, row, fault):
    with pytest.raises(ValueError, match=fault):
        told(headings, row)


@pytest.mark.parametrize(
    ("first", "second", "is_told"),
    [
        ("24-03-01 08:00", "24-03-01 09:00", False),
        ("24/03/14 08:00", "24/03/15 08:00", False),
        ("14/03/24 08:00", "15/03/24 08:00", True),
        ("31/12/23 08:00", "01/01/24 08:00", True),
    ],
)
def test_years_of_two_digits(first, second, is_told):
    """Where the last number runs on while the first stays, it is no year."""
    rows = ((first, "7"), (second, "7"))
    if is_told:
        assert told(["time", "pH"], *rows)[0].day_first
        return
    with pytest.raises(ValueError, match="year first or last"):
        told(["time", "pH"], *rows)
    stated = ExposureSettings(date_order="day_first")
    assert told(["time", "pH"], *rows, settings=stated)[0].kind == "stamp"


def test_halves_of_the_day_in_a_column_of_their_own():
    with pytest.raises(ValueError, match="AM and PM"):
        told(["date", "time", "half", "pH"], ("2001-02-03", "08:00:00", "PM", "7"))


def test_samples_are_taken_all_over(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("time,pH\n" + "".join(f"{k:07d},7.4\n" for k in range(60_000)), encoding="utf-8")
    found = date_samples(path, TableForm(",", ".", (False, False), False, False), 0)
    numbers = [int(text) for text in found]
    assert min(numbers) < 500
    assert max(numbers) > 59_500
