"""The stopwatch of the speed comparison: what it reports is what the process did."""

import sys

import pytest
from bench_speed import run, write_picture


def test_time_and_memory_are_those_of_the_process():
    block = "import time; held = b'x' * 80_000_000; time.sleep(0.3)"
    small, large = (
        run([sys.executable, "-c", "import time; time.sleep(0.3)"]),
        run([sys.executable, "-c", block]),
    )
    assert small.seconds > 0.3 and large.seconds > 0.3
    assert large.peak_mb - small.peak_mb == pytest.approx(80, abs=8)


def test_failed_command_is_an_error_that_quotes_it():
    with pytest.raises(RuntimeError, match="no such picture"):
        run([sys.executable, "-c", "raise SystemExit('no such picture')"])


def test_picture_has_as_many_pits_as_asked(tmp_path):
    assert write_picture(tmp_path / "p.tif", 512, 40) == 40
