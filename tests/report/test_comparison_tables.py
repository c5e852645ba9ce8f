"""Tables of all that is set side by side."""

import math

from surfscan.columns import TABLES
from surfscan.report.comparison_tables import agreement_word, comparison_tables


def test_every_table_fits_the_registry(sides):
    tables = comparison_tables(sides.found('[[criterion]]\nfigure = "max_depth_um"\nat_most = 6.0\n'))
    assert {
        "study_rates_side_by_side",
        "study_agreement",
        "study_locality",
        "study_loss_with_rate",
        "study_loss_lines",
        "study_over_time",
        "study_budgets",
        "study_criteria",
        "study_comparisons",
    } == set(tables)
    for name, table in tables.items():
        assert list(table) == [c.name for c in TABLES[name]]


def test_a_row_a_rate_and_a_pair(sides):
    found = sides.found()
    tables = comparison_tables(found)
    rates = tables["study_rates_side_by_side"]
    assert len(rates["specimen"]) == sum(len(s.rates) for s in found.specimens)
    twin = (rates["specimen"] == "L1") & (rates["method"] == "sweep")
    assert rates["joined"][twin].tolist() == ["twin"] and rates["from_specimens"][twin].tolist() == ["E1"]
    pairs = tables["study_agreement"]
    own = (pairs["specimen"] == "L2") & (pairs["second_method"] == "gas")
    assert set(pairs["agreement"][own & (pairs["first_method"] == "mass loss")]) == {"do not agree"}
    assert all("[" in text for text in pairs["reasons"] if text)  # every reason has its source


def test_locality_says_why_there_is_none(sides):
    table = comparison_tables(sides.found())["study_locality"]
    unexposed = table["specimen"] == "E1"
    assert math.isnan(table["pitting_factor"][unexposed][0])
    assert "it was not exposed" in table["sentence"][unexposed][0]


def test_words(sides):
    words = {agreement_word(pair) for pair in sides.found().of("L2").agreements}
    assert words == {"agree", "do not agree", "not judged"}


def test_nothing_no_table(empty_sides):
    empty_sides.specimen("E1", "bare as received")
    assert comparison_tables(empty_sides.found()) == {}
