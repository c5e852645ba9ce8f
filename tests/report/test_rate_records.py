"""Entries of a study joined with what was measured on them."""

import math
from dataclasses import replace

from surfscan.report.rate_records import of_procedure


def test_all_kinds_in_the_order_of_the_page(rate_records):
    assert [r.procedure for r in rate_records.values()] == [
        *["mass_loss"] * 4,
        *["gas"] * 2,
        "exposure",
        *["sweep"] * 4,
    ]
    assert [r.entry_id for r in of_procedure(rate_records.values(), "gas")] == ["gas of U1", "gas of R2"]


def test_whose_they_are(rate_records):
    log, sweep = rate_records["rig.csv"], rate_records["active.csv"]
    assert (log.specimen_names, log.group, log.exposure_h) == ("U1 + U2 + U3", "bare", 48)
    assert (sweep.specimen_names, sweep.twin_of, sweep.exposure_h) == ("E1", "U1", 0)


def test_figures_by_the_names_that_lead_to_them(rate_records):
    log = rate_records["rig.csv"]
    low, high = log.interval("acid_balance", "rate", "rate_mm_per_y")
    assert low < log.figure("acid_balance", "rate", "rate_mm_per_y") < high
    assert math.isnan(log.figure("no", "such")) and log.text("nothing") == ""
    assert all(map(math.isnan, log.interval("immersed_h")))


def test_what_failed_has_a_message_and_nothing_else(rate_records):
    failed = rate_records["garbage.csv"]
    assert (failed.status, failed.done, failed.sha256) == ("failed", None, "")
    assert failed.message.startswith("the file holds no table of numbers")
    assert len(failed.table("sweep")["potential_V"]) == 0
    never = replace(failed, result=None)
    assert never.status == "not measured" and "surfscan measure" in never.message
