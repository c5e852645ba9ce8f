"""Results of sweeps, weighings, gas and logs that the study as it stands would not give; their inputs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from surfscan.report.rate_records import NOUNS, RateRecord

if TYPE_CHECKING:
    from surfscan.store.results import StoredResult
    from surfscan.study.manifest import Study


def stale_rates(study: Study, records: Sequence[RateRecord]) -> list[tuple[str, str]]:
    """(entry, warning) of every result that rests on what has changed since.

    Raises
    ------
    InputError
        If a material of the study is not known.
    """
    from surfscan.study.conditions import conditions_of
    from surfscan.study.rate_tasks import log_hours, rate_fingerprint, settings_of

    stored: dict[tuple[str, str], StoredResult] = {
        (r.entry_id, r.procedure): r.result for r in records if r.result
    }
    logs = log_hours(study, stored)
    found = []
    for record in records:
        done = record.done
        if done is None or done.source is None:
            continue
        now = rate_fingerprint(
            record.entry,
            settings_of(study, record.entry),
            done.source.sha256,
            conditions_of(study, record.entry, logs),
            study.settings.immersion,
            done.version,
        )
        if now != done.fingerprint:
            noun = NOUNS[record.procedure]
            found.append(
                (
                    record.entry_id,
                    f"{noun[0].upper()}{noun[1:]}: what the study states of it (settings, surface, material, "
                    "hours or readings) changed since this was measured; the figures are those from before. "
                    "Run surfscan measure, then report again.",
                )
            )
    return found


def rate_input_rows(records: Sequence[RateRecord]) -> list[tuple[str, str, str]]:
    """(file, what it is, SHA-256) of every file measured; what study.toml states itself is in its own row."""
    return [
        (record.entry_id, f"{NOUNS[record.procedure]}, as measured", record.sha256)
        for record in records
        if record.done and getattr(record.entry, "file", None)
    ]
