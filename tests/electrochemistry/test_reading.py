import hashlib
import itertools

import numpy as np
import pytest

from surfscan.electrochemistry.reading import read_sweep
from surfscan.errors import InputError

ZERO_V, DENSITY_A, ANODIC_V, CATHODIC_V = -0.512, 2e-5, 0.07, 0.12


def activation(potential):
    """Current of two branches with slopes of 70 and 120 mV a decade, A."""
    over = potential - ZERO_V
    return DENSITY_A * (10 ** (over / ANODIC_V) - 10 ** (-over / CATHODIC_V))


UP = np.round(np.arange(-0.65, -0.399, 0.001), 6)
LOOP = np.concatenate([UP, UP[-2::-1]])
CURRENT = activation(LOOP)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "sweep.txt"


def number(value, decimal=".", style="{:.6e}"):
    return style.format(value).replace(".", decimal)


def text_of(columns, header="", delimiter="\t", decimal=".", style="{:.6e}", footer=""):
    rows = (delimiter.join(number(v, decimal, style) for v in row) for row in zip(*columns, strict=True))
    return header + "\n".join(rows) + "\n" + footer


def roles(sweep):
    return {read.role: (read.column, read.unit, read.how) for read in sweep.columns}


HEADERS = {
    "none": "",
    "names": "E{d}I\n",
    "units in brackets": "Some free text, 3 lines of it\nArea: unknown\n\nE (V vs SCE){d}I (A)\n",
    "units behind a stroke": "# E/V{d}I/A\n",
    "units in a row": "sweep 7\npotential{d}current\nV{d}A\n",
    "underscores": "potential_V{d}current_A\n",
    "words": "Electrode potential [V]{d}Measured current [A]\n",
    "twice": "E (V){d}I (A)\nE (V){d}I (A)\n",
    "key and value": "sample{d}plate 3\nscan rate{d}1\noperator: nobody\n12.5 34.2 56\nVoltage{d}Current\n",
    "a rule below": "E (V){d}I (A)\n---------------\n",
}
WAYS = [(d, m) for d in ("\t", ";", ",", " ", "   ", "|", ", ") for m in ".," if m not in d]


@pytest.mark.parametrize("header", HEADERS)
@pytest.mark.parametrize(("delimiter", "decimal"), WAYS)
def test_delimiters_decimals_and_headers(path, header, delimiter, decimal):
    path.write_text(text_of((LOOP, CURRENT), HEADERS[header].format(d=delimiter), delimiter, decimal))
    sweep = read_sweep(path)
    np.testing.assert_allclose(sweep.potential_V, LOOP, rtol=1e-6)
    np.testing.assert_allclose(sweep.current_A, CURRENT, rtol=1e-6)
    assert sweep.density_A_per_cm2 is None
    assert roles(sweep) == {
        "potential": (1, "V", roles(sweep)["potential"][2]),
        "current": (2, "A", "name"),
    } or (header == "none")
    assert [(scan.start, scan.stop, scan.direction) for scan in sweep.scans] == [(0, 251, 1), (250, 501, -1)]
    assert sweep.sign.startswith("as in the file")
    assert sweep.source.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert sweep.source.path == str(path)


def test_headings_leave_nothing_to_say(path):
    path.write_text(text_of((LOOP, CURRENT), "E (V vs SCE)\tI (A)\n"))
    sweep = read_sweep(path)
    assert sweep.warnings == ()
    assert sweep.reference == "SCE"
    assert [(c.role, c.column, c.name, c.how) for c in sweep.columns] == [
        ("potential", 1, "E (V vs SCE)", "name"),
        ("current", 2, "I (A)", "name"),
    ]


def test_no_header_says_what_was_told(path):
    path.write_text(text_of((LOOP, CURRENT)))
    sweep = read_sweep(path)
    assert roles(sweep) == {"potential": (1, "V", "content"), "current": (2, "A", "content")}
    assert sweep.reference is None
    assert sweep.scan_rate_V_per_s is None
    assert sum("No unit is stated" in warning for warning in sweep.warnings) == 2


UNITS = [
    ("E (mV)", 1e3, "I (mA)", 1e3, "current"),
    ("E/V", 1, "j/(mA cm-2)", 1e3, "current density"),
    ("E [V]", 1, "i [µA/cm²]", 1e6, "current density"),
    ("E, V", 1, "Current density, uA/cm^2", 1e6, "current density"),
    ("potential_mV", 1e3, "current_nA", 1e9, "current"),
    ("Spannung (V)", 1, "Stromdichte (A/m²)", 1e4, "current density"),
    ("E vs Ag/AgCl / V", 1, "i_uA_per_cm2", 1e6, "current density"),
    ("V", 1, "mA/cm2", 1e3, "current density"),
    ("Potential (mV)", 1e3, "Current (pA)", 1e12, "current"),
]


@pytest.mark.parametrize(("potential", "times", "current", "factor", "role"), UNITS)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
def test_units_and_encodings(path, potential, times, current, factor, role, encoding):
    text = text_of((times * LOOP, factor * CURRENT), f"{potential};{current}\n", ";", style="{:.9g}")
    path.write_bytes(text.replace("\n", "\r\n").encode(encoding))
    sweep = read_sweep(path)
    flow = sweep.current_A if role == "current" else sweep.density_A_per_cm2
    np.testing.assert_allclose(sweep.potential_V, LOOP, rtol=1e-7)
    np.testing.assert_allclose(flow, CURRENT, rtol=1e-7)
    assert roles(sweep)[role][2] == "name"


@pytest.mark.parametrize("order", list(itertools.permutations(range(3))))
@pytest.mark.parametrize("named", [True, False])
def test_any_order_of_columns(path, order, named):
    columns = [LOOP, CURRENT, np.arange(LOOP.size) * 6.0]
    names = ["E (V)", "I (A)", "t (s)"]
    header = "\t".join(names[k] for k in order) + "\n" if named else ""
    path.write_text(text_of([columns[k] for k in order], header))
    sweep = read_sweep(path)
    np.testing.assert_allclose(sweep.potential_V, LOOP, rtol=1e-6)
    np.testing.assert_allclose(sweep.current_A, CURRENT, rtol=1e-6)
    assert sweep.scan_rate_V_per_s == pytest.approx(0.001 / 6)
    assert {read.how for read in sweep.columns} == {"name" if named else "content"}


@pytest.mark.parametrize("one_way", [UP, UP[::-1]])
def test_content_of_one_scan_with_counter_time_and_scan_number(path, one_way):
    count = np.arange(one_way.size) + 1.0
    path.write_text(
        text_of((count, count * 2.5, activation(one_way), one_way, np.ones(one_way.size)), style="{:.8g}")
    )
    sweep = read_sweep(path)
    assert roles(sweep)["potential"][0] == 4
    assert roles(sweep)["current"][0] == 3
    assert roles(sweep)["time"][0] == 2
    assert sweep.scan_rate_V_per_s == pytest.approx(0.001 / 2.5)


def test_small_linear_sweep_without_names(path):
    small = np.arange(-0.53, -0.4895, 0.0005)
    for ohm, is_doubtful in ((50, False), (5, True)):
        flow = (small - ZERO_V) / ohm
        for columns, at in (((small, flow), 1), ((flow, small), 2)):
            path.write_text(text_of(columns))
            sweep = read_sweep(path)
            assert roles(sweep)["potential"][0] == at
            assert any("both move in even steps" in warning for warning in sweep.warnings) == is_doubtful


def test_stated_columns_units_reference_and_decimal_overrule(path):
    path.write_text(text_of((CURRENT, 1e3 * LOOP, LOOP), "E (V vs SCE);I (A);x\n", ";", style="{:.9g}"))
    sweep = read_sweep(
        path,
        columns={"potential": 2, "current density": "E (V vs SCE)"},
        units={"potential": "mV", "current density": "A/cm2"},
        reference="Ag/AgCl (3 M KCl)",
    )
    np.testing.assert_allclose(sweep.potential_V, LOOP, rtol=1e-7)
    np.testing.assert_allclose(sweep.density_A_per_cm2, CURRENT, rtol=1e-7)
    assert sweep.reference == "Ag/AgCl 3 M KCl"
    assert {c.how for c in sweep.columns} == {"stated"}


@pytest.mark.parametrize(
    ("columns", "units", "fault"),
    [
        ({"potential": 3}, {}, "is not one of the 2"),
        ({"potential": "U"}, {}, "stands nowhere"),
        ({"voltage": 1}, {}, "is no role"),
        ({"potential": 1, "current": 1}, {}, "two things"),
        ({"current": 1, "current density": 2}, {}, "both current"),
        ({}, {"potential": "mm"}, "is no unit of potential"),
        ({}, {"current": "A/cm2"}, "is no unit of current"),
    ],
)
def test_statements_that_do_not_fit(path, columns, units, fault):
    path.write_text(text_of((LOOP, CURRENT), "E (V)\tI (A)\n"))
    with pytest.raises(InputError, match=fault):
        read_sweep(path, columns=columns, units=units)


def test_decimal_mark_must_be_one(path):
    path.write_text(text_of((LOOP, CURRENT)))
    with pytest.raises(InputError, match="no decimal mark"):
        read_sweep(path, decimal=";")


@pytest.mark.parametrize(
    "repeated", ["\nScan\t2\nE (V)\tI (A)\n", "E (V)\tI (A)\n", "# scan 2\n", "\n\nV\tA\n"]
)
def test_repeated_headers_part_scans(path, repeated):
    one = text_of((UP, activation(UP)))
    path.write_text("E (V)\tI (A)\n" + one + repeated + one + "End of data\n")
    sweep = read_sweep(path)
    assert [(s.start, s.stop, s.direction) for s in sweep.scans] == [(0, 251, 1), (251, 502, 1)]
    assert sweep.warnings == ()


def test_scan_number_parts_scans_and_reversals_are_still_found(path):
    cycle = np.repeat([1.0, 2.0], LOOP.size)
    loops = np.concatenate([LOOP, LOOP])
    path.write_text(text_of((loops, activation(loops), cycle), "E/V,I/A,Cycle\n", ","))
    sweep = read_sweep(path)
    assert [(s.start, s.stop, s.direction) for s in sweep.scans] == [
        (0, 251, 1),
        (250, 501, -1),
        (501, 752, 1),
        (751, 1002, -1),
    ]


def test_clock_times_run_over_midnight(path):
    seconds = 86400 - 600 + 5 * np.arange(LOOP.size)
    rows = [
        f"2001-03-0{1 + s // 86400} {s % 86400 // 3600:02}:{s % 3600 // 60:02}:{s % 60:02};{e:.3f};{i:.4e}"
        for s, e, i in zip(seconds.tolist(), LOOP, CURRENT, strict=True)
    ]
    path.write_text("Date and time;E (V);I (A)\n" + "\n".join(rows).replace(".", ","))
    sweep = read_sweep(path)
    assert sweep.scan_rate_V_per_s == pytest.approx(0.0002)
    np.testing.assert_allclose(np.diff(sweep.time_s), 5)
    assert sweep.warnings == ()


def test_header_states_scan_rate_reference_and_area(path):
    header = "Reference electrode: Ag/AgCl, 3 M KCl\nScan rate 0.5 mV/s\nArea: 1.5 cm2\nE (V)\tI (A)\n"
    path.write_text(text_of((LOOP, CURRENT), header))
    sweep = read_sweep(path)
    assert sweep.reference == "Ag/AgCl 3 M KCl"
    assert sweep.scan_rate_V_per_s == pytest.approx(0.0005)
    assert sweep.warnings == ("The header speaks of an area of 1.5 cm²: it is not used unless it is stated.",)


def test_header_and_statement_or_time_that_differ(path):
    header = "vs SCE\nScan rate 5 mV/s\nt (s)\tE (V)\tI (A)\n"
    path.write_text(text_of((np.arange(LOOP.size), LOOP, CURRENT), header))
    sweep = read_sweep(path, reference="SHE")
    assert sweep.reference == "SHE"
    assert sweep.scan_rate_V_per_s == pytest.approx(0.001)
    assert any("The header names SCE" in warning for warning in sweep.warnings)
    assert any("states 5 mV/s" in warning for warning in sweep.warnings)


@pytest.mark.parametrize("heading", ["log10(|i|/A cm-2)", "log i (A/cm²)", "lg(i)"])
def test_logarithms_get_their_sign_back(path, heading):
    path.write_text(text_of((LOOP + 2e-4, np.log10(np.abs(activation(LOOP + 2e-4)))), f"E (V)\t{heading}\n"))
    sweep = read_sweep(path)
    flow = sweep.current_A if sweep.density_A_per_cm2 is None else sweep.density_A_per_cm2
    np.testing.assert_allclose(flow, activation(LOOP + 2e-4), rtol=1e-4)
    assert sweep.sign.startswith("restored")
    assert any("without sign" in warning for warning in sweep.warnings)


def test_other_sign_is_turned_with_a_warning(path):
    path.write_text(text_of((LOOP, -CURRENT), "E (V)\tI (A)\n"))
    sweep = read_sweep(path)
    np.testing.assert_allclose(sweep.current_A, CURRENT, rtol=1e-6)
    assert sweep.sign.startswith("turned")
    assert len(sweep.warnings) == 1


def test_one_anodic_scan_is_readable(path):
    above = UP[UP > ZERO_V + 0.02]
    path.write_text(text_of((above, activation(above)), "E (V)\tI (A)\n"))
    sweep = read_sweep(path)
    assert sweep.current_A.min() > 0
    assert "one branch only, anodic" in sweep.sign


def test_gaps_and_strays_are_left_out(path):
    potential, flow = LOOP.copy(), CURRENT.copy()
    potential[40] += 3
    flow[[7, 90]] = np.nan
    path.write_text(text_of((potential, flow), "E (V)\tI (A)\n"))
    sweep = read_sweep(path)
    assert sweep.potential_V.size == LOOP.size - 3
    assert len(sweep.scans) == 2
    assert any("2 of 501 rows hold no potential or no current (first at line 9)" in w for w in sweep.warnings)
    assert any("1 stray readings of the potential (line 42)" in w for w in sweep.warnings)


def test_clock_backwards_costs_the_time(path):
    time = np.arange(LOOP.size) * 1.0
    time[100:] -= 3600
    path.write_text(text_of((time, LOOP, CURRENT), "t (s)\tE (V)\tI (A)\n"))
    sweep = read_sweep(path)
    assert sweep.time_s is None
    assert sweep.scan_rate_V_per_s is None
    assert any("backwards by 3.6e+03 s at line 102" in warning for warning in sweep.warnings)


def test_clock_may_start_again_with_a_scan(path):
    one = text_of((np.arange(UP.size) * 2.0, UP, activation(UP)))
    path.write_text("t (s)\tE (V)\tI (A)\n" + one + "\nt (s)\tE (V)\tI (A)\n" + one)
    sweep = read_sweep(path)
    assert (np.diff(sweep.time_s) >= 0).all()
    assert sweep.scan_rate_V_per_s == pytest.approx(0.0005)


BAD = {
    "empty": (b"", "the file is empty"),
    "blank": (b"\n \n\n", "no text"),
    "words": (b"nothing\nto see here\n", "no table of numbers"),
    "one column": (b"E\n" + b"\n".join(b"%d.5" % k for k in range(50)), "one column of numbers"),
    "one point": (b"E\tI\n0.1\t1e-6\n", "1 point"),
    "two points": (b"E\tI\n0.1\t1e-6\n0.2\t2e-6\n", "2 points"),
    "binary": (bytes(range(256)) * 9, "no text"),
    "workbook": (b"PK\x03\x04" + bytes(400), "workbook"),
    "no gap filled": (b"E\tI\n" + b"0.1\tNaN\n" * 20, "0 points"),
    "one long line": (b"7" * 300_000, "longer than"),
}


@pytest.mark.parametrize("kind", BAD)
def test_files_that_are_no_sweep(path, kind):
    path.write_bytes(BAD[kind][0])
    with pytest.raises(InputError, match=BAD[kind][1]) as caught:
        read_sweep(path)
    assert caught.value.path.startswith(str(path))
    assert caught.value.remedy


@pytest.mark.parametrize("bad", ["0.1x", "1.2.3", "--5", "abc", "1e", "0,1"])
def test_text_within_numbers_is_named_with_its_line(path, bad):
    lines = text_of((LOOP, CURRENT), "E (V)\tI (A)\n").split("\n")
    lines[60] = lines[60].split("\t")[0] + "\t" + bad
    path.write_text("\n".join(lines))
    with pytest.raises(InputError, match="is not a number") as caught:
        read_sweep(path)
    assert caught.value.path == f"{path}:61"


def test_a_row_with_too_few_or_too_many_values(path):
    lines = text_of((LOOP, CURRENT), "E (V)\tI (A)\n").split("\n")
    for line in (lines[60] + "\t3.5", lines[60].split("\t")[0]):
        path.write_text("\n".join([*lines[:60], line, *lines[61:]]))
        with pytest.raises(InputError, match="stand here, 2 in the rows before") as caught:
            read_sweep(path)
        assert caught.value.path == f"{path}:61"


def test_a_last_line_cut_short_is_left_out(path):
    path.write_text(text_of((LOOP, CURRENT), "E (V)\tI (A)\n")[:-16])
    sweep = read_sweep(path)
    assert sweep.potential_V.size == LOOP.size - 1
    assert any("is cut short" in warning for warning in sweep.warnings)


def test_constant_columns(path):
    path.write_text(text_of((LOOP, np.full(LOOP.size, 1e-6)), "E (V)\tI (A)\n"))
    with pytest.raises(InputError, match="the current is the same at every point"):
        read_sweep(path)
    path.write_text(text_of((np.full(LOOP.size, -0.3), CURRENT), "E (V)\tI (A)\n"))
    with pytest.raises(InputError, match="no sweep"):
        read_sweep(path)


def test_swapped_headings_and_units(path):
    path.write_text(text_of((CURRENT, LOOP), "E (V)\tI (A)\n"))
    with pytest.raises(InputError, match="look swapped") as caught:
        read_sweep(path)
    assert '"potential": 2' in caught.value.remedy
    path.write_text(text_of((1000 * LOOP, CURRENT), "E (V)\tI (A)\n"))
    with pytest.raises(InputError, match="mV called V"):
        read_sweep(path)
    assert read_sweep(path, units={"potential": "mV"}).potential_V.min() == pytest.approx(-0.65)


def test_thousands_and_their_ambiguity(path):
    potential = np.arange(-1500.0, 200.0, 10.0)
    flow = activation(potential / 1000 + 0.1) * 1e6
    style = "{:,.2f}"
    rows = [f"{style.format(e)}\t{style.format(i)}" for e, i in zip(potential, flow, strict=True)]
    path.write_text("E (mV)\ti (µA/cm²)\n" + "\n".join(rows), encoding="utf-8")
    np.testing.assert_allclose(read_sweep(path).potential_V, potential / 1000)
    apostrophes = "\n".join(rows).replace(",", "'")
    path.write_text("E (mV)\ti (µA/cm²)\n" + apostrophes, encoding="utf-8")
    np.testing.assert_allclose(read_sweep(path).potential_V, potential / 1000)
    comma = "\n".join(rows).replace(",", "x").replace(".", ",").replace("x", ".")
    path.write_text("E (mV)\ti (µA/cm²)\n" + comma, encoding="utf-8")
    np.testing.assert_allclose(read_sweep(path).potential_V, potential / 1000)
    doubtful = "\n".join(f"{k},{k:03d}\t{k // 2 + 1},125" for k in range(100, 400))
    path.write_text("E (mV)\ti (µA/cm²)\n" + doubtful, encoding="utf-8")
    with pytest.raises(InputError, match="decimal comma or a thousands separator"):
        read_sweep(path)
    assert read_sweep(path, decimal=",").potential_V[0] == pytest.approx(0.1001)


def test_numbers_of_all_spellings(path):
    spellings = ("{:.5E}", "{:.5e}", "{:+.9f}", "{:.8g}")
    rows = []
    for k, (e, i) in enumerate(zip(LOOP, CURRENT, strict=True)):
        flow = f"{i:.5e}"
        if k % 5 == 1:
            flow = flow.replace("e", "D")
        if k % 5 == 2:
            mantissa, exponent = flow.split("e")
            flow = f"{mantissa}×10^{int(exponent)}"
        if k % 5 == 3:
            flow = flow.replace("e", "E").replace("-", "\u2212")
        if k % 5 == 4:
            flow = flow.replace("e-0", "e-00").replace("e", " E")
        rows.append(f'"{spellings[k % 4].format(e)}";"{flow}"')
    path.write_text('"E (V)";"I (A)"\n' + "\n".join(rows), encoding="utf-8")
    np.testing.assert_allclose(read_sweep(path).current_A, CURRENT, rtol=1e-4)


def test_words_in_the_table_and_trailing_delimiters(path):
    rows = [f"{e:.4f};forward;{i:.5e};" for e, i in zip(LOOP, CURRENT, strict=True)]
    path.write_text("E (V);branch;I (A);\n" + "\n".join(rows))
    sweep = read_sweep(path)
    assert roles(sweep)["current"][0] == 3
    np.testing.assert_allclose(sweep.current_A, CURRENT, rtol=1e-4)


def test_a_missing_file_and_folder(tmp_path):
    for path in (tmp_path / "none.txt", tmp_path):
        with pytest.raises(InputError, match="cannot be read"):
            read_sweep(path)
