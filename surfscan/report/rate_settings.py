"""Settings of sweeps, immersion and rig logs as the page shows them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from surfscan.report.cells import Cell, Grid
from surfscan.report.grids import settings_grid
from surfscan.report.rate_records import RateRecord, of_procedure

if TYPE_CHECKING:
    from surfscan.study.manifest import Study


def rate_settings_grids(study: Study, records: Sequence[RateRecord]) -> list[Grid]:
    """Every setting of what the study has: one table for sweeps, immersion and logs each.

    What a log states for itself alone stands at the end of its table.
    """
    used = {r.procedure for r in records}
    grids = []
    if "sweep" in used:
        grids.append(settings_grid("Settings: sweeps", study.settings.sweep))
    if used - {"sweep"}:
        grids.append(settings_grid("Settings: mass loss, gas and acid", study.settings.immersion))
    if "exposure" in used:
        whole = settings_grid("Settings: rig logs", study.settings.exposure)
        own = [row for r in of_procedure(records, "exposure") for row in _own_rows(r)]
        grids.append(Grid(whole.caption, whole.heads, [*whole.rows, *own]))
    return grids


def _own_rows(record: RateRecord) -> list[list[Cell]]:
    from surfscan.immersion.exposure_settings import ExposureSettings

    fields = ExposureSettings.model_fields
    stated = [name for name in fields if name in record.entry.model_fields_set]
    return [
        [
            Cell(f"{name} of {record.entry_id}"),
            Cell(str(getattr(record.entry, name))),
            Cell("stated with the log"),
            Cell(fields[name].description or ""),
        ]
        for name in stated
    ]
