"""Studies of known truth: they load, and say what they were drawn from."""

import coverage_studies
import numpy as np
import pytest
import study_coverage

from surfscan.study.manifest import load_study


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("coverage")
    return folder, coverage_studies.write_study(folder, 3)


def test_a_study_loads(written):
    folder, plates = written
    study = load_study(folder)
    assert [s.id for s in study.specimens] == [p.name for p in plates] == ["3-1", "3-2", "3-3"]
    assert len(study.images) == 3 * (2 * coverage_studies.FIELDS + 2)
    assert (len(study.weighings), len(study.sweeps)) == (3, 3)


def test_same_seed_same_bytes(written, tmp_path):
    folder, plates = written
    again = coverage_studies.write_study(tmp_path, 3)
    assert again == plates
    for path in sorted(folder.iterdir()):
        assert (tmp_path / path.name).read_bytes() == path.read_bytes(), path.name


def test_plates_come_from_their_population():
    drawn = coverage_studies.population(3)
    assert 0.45 <= drawn.median_rate_mm_per_y <= 0.9
    rates = drawn.rates(np.array([-1.0, 0.0, 1.0]))
    assert np.diff(np.log(rates)) == pytest.approx([drawn.spread] * 2)


def test_truth_follows_from_the_rate(written):
    for plate in written[1]:
        loss = float(study_coverage.loss_um(plate.rate_mm_per_y))
        assert plate.section["mean_penetration_um"] == pytest.approx(loss, rel=0.01)
        assert np.mean([p["mean_width_um"] for p in plate.pictures]) == pytest.approx(
            400 - 2 * loss, rel=0.03
        )
        assert plate.sweep["rate_mm_per_y"] == pytest.approx(0.6 * plate.rate_mm_per_y)
        assert plate.weighing["rate_mm_per_y"] < plate.rate_mm_per_y  # over the surface at the start
