"""Mutated sweep files: whatever is done to them, a sweep or a clear complaint comes back, and soon."""

import time

import numpy as np
import pytest

from surfscan.electrochemistry.reading import read_sweep
from surfscan.electrochemistry.sweep import Sweep
from surfscan.errors import InputError

UP = np.arange(-0.65, -0.4, 0.01)
LOOP = np.concatenate([UP, UP[-2::-1]])
FLOW = 2e-5 * (10 ** ((LOOP + 0.51) / 0.07) - 10 ** (-(LOOP + 0.51) / 0.12))
ROWS = [f"{5 * k}\t{e:.4f}\t{i:.5e}" for k, (e, i) in enumerate(zip(LOOP, FLOW, strict=True))]
HEADER = "sample\tplate 7\nscan rate: 2 mV/s\nt (s)\tE (V vs SCE)\ti (mA/cm²)\n"
TEXT = HEADER + "\n".join(ROWS) + "\nend of data\n"
FILES = [
    TEXT.encode(),
    TEXT.replace("\t", ";").replace(".", ",").encode("cp1252"),
    TEXT.replace("\t", ",").encode("utf-16"),
    "\n".join(row.split("\t", 1)[1].replace("\t", "  ") for row in ROWS).encode(),
    (TEXT + "\n" + TEXT).encode(),
    "\n".join(f"10:{k:02}:00;{row}" for k, row in enumerate(ROWS)).encode(),
]
PIECES = [
    b"\n", b"\t", b";", b",", b".", b"e", b"E+999", b"nan", b"-", b"'", b'"', b"0x1f", b"1_0",
    b"\xff\xfe", b"\0",
    b"#", b" ", b"10:00:00", b"inf", b"1e400", b"\r", b"999999999999999999999999", b"(", b")", b"|", b"[V]",
    b"log", b"\xe2\x88\x92", b"\xb5", b"scan 2\n", b"E\tI\n", b"-0.1\t1e-6\n", b"*10^", b"\x0c", b"\xc2\xa0",
]  # fmt: skip


def mutate(data, rng):
    data = bytearray(data)
    for _ in range(int(rng.integers(1, 6))):
        at = int(rng.integers(0, len(data) + 1))
        length = int(rng.choice([1, 2, 5, 20, 200]))
        kind = int(rng.integers(0, 7))
        if kind == 0:
            del data[at : at + length]
        elif kind == 1:
            data[at:at] = PIECES[int(rng.integers(len(PIECES)))] * int(rng.choice([1, 1, 3, 50]))
        elif kind == 2:
            data[at : at + length] = rng.integers(0, 256, length).astype(np.uint8).tobytes()
        elif kind == 3:
            data[at:at] = data[at : at + length]
        elif kind == 4:
            other = int(rng.integers(0, len(data) + 1))
            data[at : at + length] = data[other : other + length]
        elif kind == 5:
            old, new = (PIECES[int(k)] for k in rng.integers(0, len(PIECES), 2))
            data = data.replace(old, new)
        else:
            data = data[:at]
        data = data[:100_000]
    return bytes(data)


@pytest.mark.parametrize("seed", range(6))
def test_mutated_files(tmp_path, seed):
    rng = np.random.default_rng(seed)
    path = tmp_path / "sweep.txt"
    read = refused = 0
    slowest = 0.0
    for _ in range(250):
        data = mutate(FILES[seed], rng)
        path.write_bytes(data)
        start = time.process_time()
        try:
            sweep = read_sweep(path)
        except InputError as error:
            assert error.fault and error.remedy
            refused += 1
        else:
            check(sweep)
            read += 1
        slowest = max(slowest, time.process_time() - start)
    assert read and refused
    assert slowest < 1.0


def check(sweep):
    assert isinstance(sweep, Sweep)
    flow = sweep.density_A_per_cm2 if sweep.current_A is None else sweep.current_A
    count = sweep.potential_V.size
    assert flow.shape == (count,)
    assert np.isfinite(sweep.potential_V).all()
    assert np.isfinite(flow).all()
    assert sweep.time_s is None or (np.isfinite(sweep.time_s).all() and (np.diff(sweep.time_s) >= 0).all())
    assert sweep.scans
    for scan in sweep.scans:
        assert 0 <= scan.start < scan.stop <= count
        way = sweep.potential_V[scan.stop - 1] - sweep.potential_V[scan.start]
        assert way * scan.direction > 0
    assert all(a.start < b.start for a, b in zip(sweep.scans, sweep.scans[1:], strict=False))
    assert sweep.scan_rate_V_per_s is None or sweep.scan_rate_V_per_s > 0
