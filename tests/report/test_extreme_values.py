"""Extreme values of a study: equal blocks or a refusal, and the same numbers as the procedure gives."""

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest

from surfscan.procedures.extremes import analyse_maxima
from surfscan.report.extreme_values import extremes_table, summarise_extremes
from surfscan.report.groups import summarise_groups
from surfscan.report.records import gather
from surfscan.report.specimens import summarise_specimens
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study

DEPTHS = (12.1, 9.3, 15.2, 8.8, 11.0, 10.4, 13.7, 9.9, 18.3, 10.9)


@dataclass(frozen=True)
class Made:
    """A study of one group with as many maps as wanted."""

    folder: object

    def groups(self, depths, *, bound=(), empty=(), areas=None, surface=(50.0, 50.0), datum=()):
        """Groups with two specimens whose maps have these greatest depths."""
        study = load_study(self.folder)
        image = study.images[3]
        stored = next(
            r
            for r in ResultsStore(self.folder).all()
            if (r.image_id, r.procedure) == (image.image_id, "pits")
        )
        images, results = [], []
        for i, depth in enumerate(depths):
            summary = dict(stored.summary) | {
                "max_depth_um": None if i in empty else depth,
                "max_depth_is_lower_bound": i in bound,
                "field_area_mm2": 0.25 if areas is None else areas[i],
                "smallest_depth_um": 0.4,
            }
            if summary["field_area_mm2"] is None:
                summary["total_volume_um3"] = summary["volume_per_area_um"] = None
            name = f"maps/x{i}.npy"
            images.append(
                image.model_copy(
                    update={
                        "file": name,
                        "specimen": "H1" if i % 2 else "H2",
                        "datum": "datum.png" if i in datum else None,
                    }
                )
            )
            results.append(replace(stored, image_id=name, summary=summary))
        specimens = [
            s.model_copy(update={"surface_area_mm2": dict(zip(("H1", "H2"), surface, strict=True))[s.id]})
            for s in study.specimens
            if s.id in ("H1", "H2")
        ]
        study = study.model_copy(update={"images": tuple(images), "specimens": tuple(specimens)})
        found = summarise_specimens(study.specimens, gather(study, results)[0])
        return summarise_groups(study.groups, found)


@pytest.fixture
def made(height_folder):
    return Made(height_folder)


def test_a_group_gives_what_the_procedure_gives(made):
    (entry,) = summarise_extremes(made.groups(DEPTHS))
    # the study orders maps by specimen: the odd ones are H1's
    expected = analyse_maxima(np.r_[DEPTHS[1::2], DEPTHS[::2]], block_area_mm2=0.25, part_area_mm2=50)
    row = entry.row
    assert row["refused"] == ""
    assert (row["n_blocks"], row["n_specimens"], row["return_period"]) == (10, 2, 200)
    assert row["model"] == expected.fit.model == "gumbel"
    assert row["location_um"] == pytest.approx(expected.fit.location)
    assert row["return_level_um"] == pytest.approx(expected.return_level)
    assert row["return_level_um_ci95_low"] == pytest.approx(expected.return_level_ci95[0])
    assert row["gumbel_p"] == pytest.approx(expected.gumbel.p_value)
    assert set(expected.warnings) <= set(entry.warnings)


def test_lower_bounds_and_maps_without_pits_go_in_as_such(made):
    (entry,) = summarise_extremes(made.groups((*DEPTHS, 11.0, 7.0), bound={10}, empty={11}))
    assert (entry.row["n_lower_bound"], entry.row["n_without_pit"]) == (1, 1)
    assert (entry.result.lower_bounds, entry.result.upper_bounds, entry.result.measured) == (1, 1, 10)
    (hidden,) = [r.value for r in entry.result.plot if r.kind == "at most"]
    assert hidden == 0.4


def test_areas_that_differ_are_refused(made):
    areas = [0.25] * 9 + [0.256]
    (entry,) = summarise_extremes(made.groups(DEPTHS, areas=areas))
    assert entry.result is None
    assert entry.row["refused"].startswith("the height maps differ in measured area (0.250 to 0.256 mm²)")
    assert math.isnan(entry.row["return_level_um"])
    (alike,) = summarise_extremes(made.groups(DEPTHS, areas=[0.25] * 9 + [0.2549]))
    assert alike.result is not None


def test_a_datum_that_makes_maps_smaller_is_named_as_the_reason(made):
    areas = [0.25] * 9 + [0.2]
    (entry,) = summarise_extremes(made.groups(DEPTHS, areas=areas, datum={9}))
    assert "a datum mask takes part of maps/x9.npy out" in entry.row["refused"]
    (entry,) = summarise_extremes(made.groups(DEPTHS, areas=areas, datum={8}))
    assert "mask takes" not in entry.row["refused"]


def test_unknown_areas_are_refused(made):
    (entry,) = summarise_extremes(made.groups(DEPTHS, areas=[0.25] * 9 + [None]))
    assert "have no known pixel size" in entry.row["refused"]
    (entry,) = summarise_extremes(made.groups(DEPTHS, surface=(None, None)))
    assert "surface of the part is not stated" in entry.row["refused"]


def test_too_few_blocks_are_refused_with_the_reason(made):
    (entry,) = summarise_extremes(made.groups(DEPTHS[:4]))
    assert entry.row["refused"].startswith("4 measured maxima are too few")


def test_the_largest_part_counts_where_specimens_differ(made):
    (entry,) = summarise_extremes(made.groups(DEPTHS, surface=(50.0, 80.0)))
    assert entry.row["part_area_mm2"] == 80
    assert any("Specimens differ in surface (50.0 to 80.0 mm²)" in w for w in entry.warnings)
    (entry,) = summarise_extremes(made.groups(DEPTHS, surface=(50.0, None)))
    assert any("stated for 1 of 2 specimens only" in w for w in entry.warnings)


def test_a_specimen_with_enough_maps_gets_its_own_row(made):
    depths = [d + 0.1 * i for i, d in enumerate(DEPTHS + DEPTHS)]
    group, *own = summarise_extremes(made.groups(depths))
    assert group.specimen == "" and group.row["n_blocks"] == 20
    assert [e.specimen for e in own] == ["H1", "H2"]
    assert [e.row["n_blocks"] for e in own] == [10, 10]
    assert own[0].name == "H1 · uncoated 7 d"


def test_worst_seen_maps_are_no_blocks(height_folder):
    study = load_study(height_folder)
    records, _ = gather(study, ResultsStore(height_folder).all())
    groups = summarise_groups(study.groups, summarise_specimens(study.specimens, records))
    found = {e.group: e.row for e in summarise_extremes(groups)}
    assert found["uncoated 7 d"]["n_blocks"] == 5  # of six maps
    table = extremes_table(summarise_extremes(groups))
    assert table["group"].tolist() == [g.name for g in groups]
    assert all(table["refused"])


def test_no_height_map_no_row(study_folder):
    study = load_study(study_folder)
    records, _ = gather(study, ResultsStore(study_folder).all())
    groups = summarise_groups(study.groups, summarise_specimens(study.specimens, records))
    assert summarise_extremes(groups) == []
    assert extremes_table([])["group"].size == 0
