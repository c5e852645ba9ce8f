"""What a person reads in the terminal."""

from surfscan.cli.terminal import result_text
from surfscan.images import Calibration, Source
from surfscan.procedures.result import Result


def _result(procedure, summary, calibration=None, warnings=()):
    return Result(procedure, Source("plate.png"), calibration, {}, summary, {}, {}, warnings)


def test_pits_with_scale():
    """Count, density with its interval rounded to it, and the scale with its origin."""
    text = result_text(
        _result(
            "pits",
            {
                "pit_count": 12,
                "near_limit_count": 3,
                "for_review_count": 0,
                "pit_density_per_mm2": 3.7398,
                "pit_density_per_mm2_ci95": [1.932, 6.532],
                "pitted_area_fraction": 0.004234,
                "g46_density_class": "outside chart, above A-5",
                "field_area_px": 250000,
            },
            Calibration(0.5, 0.5, 0.01, "OME metadata"),
            ("product may hide pits",),
        )
    )
    assert text.splitlines()[0] == "plate.png: 12 pits (3 near a limit)"
    assert "scale: 0.5 µm per pixel (OME metadata)" in text
    assert "3.7 per mm² (95 % interval 1.9 to 6.5)" in text
    assert "0.423 %" in text
    assert "outside chart, above A-5" in text
    assert "250000 px" in text
    assert text.splitlines()[-1] == "  warning: product may hide pits"


def test_one_pit_without_scale():
    """One pit is singular, an unknown scale says so, and what is None is not printed."""
    text = result_text(_result("pits", {"pit_count": 1, "for_review_count": 2, "pit_density_per_mm2": None}))
    assert text.splitlines() == ["plate.png: 1 pit (2 more for review)", "  scale: unknown"]


def test_anisotropic_scale():
    """Both pixel sizes are said where they differ."""
    text = result_text(_result("pits", {"pit_count": 0}, Calibration(0.5, 0.6, 0.01, "stated")))
    assert "0.5 µm per pixel across, 0.6 µm down (stated)" in text


def test_degraded():
    """The degraded fraction leads as a percentage with its interval; none says not determined."""
    text = result_text(
        _result("degraded", {"degraded_area_fraction": 0.1234, "degraded_area_fraction_ci95": [0.1, 0.15]})
    )
    assert text.startswith("plate.png: degraded area 12.3 % (95 % interval 10.0 to 15.0)")
    assert "not determined" in result_text(_result("degraded", {"degraded_area_fraction": None}))


def test_least_width_says_what_became_of_its_strut():
    """That of a broken strut is not that of one that carries."""
    counts = dict.fromkeys(("missing_count", "through_pitted_count", "fragment_count"), 0)
    summary = counts | {"strut_count": 6, "broken_count": 1, "min_width_um": 120.0}
    summary |= {"min_width_strut": 3, "min_width_condition": "broken"}
    lines = result_text(_result("struts", summary)).splitlines()
    assert [line.split() for line in lines[2:]] == [
        ["least", "width", "120", "µm"],
        ["on", "strut", "3", "(broken)"],
    ]


def test_depths_that_are_lower_bounds_say_so():
    """A pit whose floor was not measured is at least as deep as it looks."""
    summary = {"pit_count": 3, "max_depth_um": 12.34, "max_depth_um_ci95": [12.0, None], "spike_count": 2}
    bound = result_text(_result("pits", summary | {"max_depth_is_lower_bound": True}))
    assert "at least 12.3 µm" in bound
    assert "12.3 µm (95 % interval" not in bound
    assert [line.split() for line in bound.splitlines() if "spikes" in line] == [
        ["spikes", "taken", "out", "2"]
    ]


def test_what_rows_of_a_height_map_say_is_not_said_again_below():
    """One line for the pitting factor, its reason where there is none, and the original level."""
    below = "Depths and volumes are those below the present surface. Uniform recession cannot be seen."
    factor = {"pitting_factor": 26.2, "original_level": "present surface"}
    factor["pitting_factor_denominator"] = "pit volume per area, below the present surface"
    text = result_text(_result("pits", {"pit_count": 3} | factor, warnings=(below, "Beware.")))
    assert "pitting factor  26.2 (depth over volume per area)" in text
    assert "original level  not known: depths are from the present surface" in text
    assert [line for line in text.splitlines() if "warning" in line] == ["  warning: Beware."]

    none = {"pit_count": 3, "pitting_factor": None, "original_level": "masked datum"}
    text = result_text(_result("pits", none, warnings=("No pitting factor: the mean is not known.",)))
    assert "pitting factor  none: the mean is not known" in text and "warning" not in text
    assert "original level  masked datum" in text


def test_no_scale_is_said_once():
    scale = ("No usable scale: the file gives none.", "No scale: sizes and the density are given in px only.")
    assert result_text(_result("pits", {"pit_count": 3}, warnings=scale)).count("warning") == 1
    assert result_text(_result("pits", {"pit_count": 3}, warnings=scale[1:])).count("warning") == 1
