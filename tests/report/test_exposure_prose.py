"""Sentences about rig logs."""

from dataclasses import replace

from surfscan.report.exposure_prose import acid_caption, exposure_caption, exposure_sentences


def test_summary_gives_verdict_hours_and_share(rate_records):
    (said,) = exposure_sentences([rate_records["rig.csv"]])
    assert said.startswith("Exposure of U1 + U2 + U3 (rig.csv) is not valid: 48\u00a0h immersed, 77.1")
    assert said.endswith("4 reasons below.")


def test_many_logs_are_counted(rate_records):
    log = rate_records["rig.csv"]
    assert exposure_sentences([log] * 5 + [replace(log, result=None)]) == [
        "6 rig logs: 5 not valid, 1 without a result."
    ]


def test_captions(rate_records, changed):
    log = rate_records["rig.csv"]
    assert "a sign of clogging" in exposure_caption(log)
    assert "of it blank" in acid_caption(log) and "Reads low: hydroxide" in acid_caption(log)
    refused = changed(log, acid_balance={**log.value("acid_balance"), "rate": None, "refused": "No area."})
    assert acid_caption(refused).endswith("No rate: No area.")
