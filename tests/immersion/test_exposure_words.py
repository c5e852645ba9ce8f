"""What is said of a log, in words with the place."""

from surfscan.immersion.exposure import measure_exposure


def said(path):
    return measure_exposure(path).warnings


def test_lines_gaps_and_repeats(write_log):
    rows = [(f"{7.4 + k % 7 / 100:.2f}",) for k in range(300)]
    path = write_log("time,pH", rows, jumps={100: 7300})
    lines = path.read_text(encoding="utf-8").split("\n")
    lines.insert(50, "pump serviced")
    lines.insert(20, lines[19])
    path.write_text("\n".join(lines), encoding="utf-8")
    warnings = said(path)
    assert "1 line is no reading, left out: line 52 ('pump serviced')." in warnings
    assert any(w.startswith("1 gap without readings, 2.04 h in all") for w in warnings)
    assert "1 row repeats the one before to the digit, left out." in warnings


def test_a_column_without_readings(write_log):
    warnings = said(write_log("time,pH,temperature (°C)", [(f"7.{k % 9}", "NaN") for k in range(50)]))
    assert "The column of temperature ('temperature (°C)') holds no readings." in warnings


def test_stamps_coarser_than_readings(write_log):
    rows = [(f"{7.4 + k % 7 / 100:.2f}",) for k in range(300)]
    warnings = said(write_log("time,pH", rows, step_s=0.1))
    assert any("270 stamps are those of the reading before" in w for w in warnings)


def test_uneven_sampling(write_log):
    rows = [(f"{7.4 + k % 7 / 100:.2f}",) for k in range(300)]
    warnings = said(write_log("time,pH", rows, jumps={k: 900 + k for k in range(10, 300, 20)}))
    assert any("Sampling is uneven" in w for w in warnings)


def test_nothing_to_say(write_log):
    assert said(write_log("time,pH", [(f"{7.4 + k % 7 / 100:.2f}",) for k in range(300)])) == ()


def test_a_channel_that_fails_while_the_log_goes_on(write_log):
    rows = [(f"{7.4 + k % 7 / 100:.2f}", f"{37 + k % 5 / 10:.1f}" if k < 1200 else "") for k in range(3000)]
    [warning] = said(write_log("time,pH,temperature (°C)", rows))
    assert warning.startswith("temperature has no usable reading for 30 h while the log goes on")
    assert "about 30 h from 19.99 h on" in warning


def test_a_channel_that_is_logged_less_often_is_not_missing(write_log):
    rows = [(f"{7.4 + k % 7 / 100:.2f}", "" if k % 5 else f"{37 + k % 7 / 10:.1f}") for k in range(3000)]
    assert said(write_log("time,pH,temperature (°C)", rows)) == ()
