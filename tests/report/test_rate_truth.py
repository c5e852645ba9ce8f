"""Rates against true values."""

import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.report.charts import truth_chart
from surfscan.report.grids import truth_grid
from surfscan.report.rate_truth import FILE_NAME, compare_rates_with_truth


def compare(folder, records, text):
    (folder / FILE_NAME).write_text("entry,figure,true_value\n" + text, encoding="utf-8")
    return compare_rates_with_truth(folder, list(records.values()))


def test_no_file_no_comparison(tmp_path, rate_records):
    assert compare_rates_with_truth(tmp_path, list(rate_records.values())) == []


def test_each_kind_by_itself(tmp_path, rate_records):
    found = compare(
        tmp_path,
        rate_records,
        "active.csv,icorr_uA_per_cm2,25\nactive.csv,rate_mm_per_y,0.56\nbroken.csv,breakdown_V,0.42\n"
        "held.csv,breakdown_V,0.9\nweighing of U1,rate_mm_per_y,2.6\nweighing of U2,rate_mm_per_y,3.1\n"
        "weighing of U3,rate_mm_per_y,2.8\nrig.csv,resistance_rise_fraction,0.3\n",
    )
    assert [(c.figure, c.kind, len(c.true)) for c in found] == [
        ("icorr_uA_per_cm2", "sweep", 1),
        ("breakdown_V", "sweep", 1),  # one that held has none to compare
        ("rate_mm_per_y", "sweep", 1),
        ("rate_mm_per_y", "mass_loss", 3),
        ("resistance_rise_fraction", "exposure", 1),
    ]
    assert found[0].covered == found[0].with_interval == 1
    assert found[3].bias_ci95 is not None and found[4].relative_bias == pytest.approx(0, abs=0.01)
    assert np.isnan(found[1].relative_bias)  # the zero of a potential is that of an electrode
    assert truth_grid(found).rows[3][0].text == "Penetration rate (mm/y), mass loss"
    assert truth_chart(found).count("<svg") == 1


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ("other.csv,rate_mm_per_y,1", "entry 'other.csv' is not in study.toml"),
        ("rig.csv,breakdown_V,1", "unknown figure 'breakdown_V' of a rig log"),
        ("rig.csv,immersed_h,much", "is not a number"),
    ],
)
def test_faults_are_named(tmp_path, rate_records, line, fault):
    with pytest.raises(InputError, match=fault):
        compare(tmp_path, rate_records, line + "\n")
