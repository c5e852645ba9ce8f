"""Columns of a potential sweep: its points, its runs, the methods and the windows they used."""

from __future__ import annotations

from surfscan.columns.base import Column, with_ci95

_POINTS: tuple[Column, ...] = (
    Column(
        "point", "", "int64", "Number of the point in the file, the first 1, rows without readings left out."
    ),
    Column("scan", "", "int64", "Number of the run it belongs to, the first 1; 0 for none."),
    Column(
        "potential_V",
        "V",
        "float64",
        "Against the reference electrode of the result, less the drop in the solution where a resistance "
        "is stated.",
    ),
    Column(
        "density_uA_per_cm2",
        "µA/cm²",
        "float64",
        "Anodic positive; not-a-number where the area is not known.",
    ),
    Column(
        "fitted_uA_per_cm2",
        "µA/cm²",
        "float64",
        "By the method of the result, over the analysed run; not-a-number where it says nothing.",
    ),
    Column(
        "residual_decades",
        "decades",
        "float64",
        "log10 of measured over fitted density where both have one sign, else not-a-number.",
    ),
    Column("in_window", "", "bool", "Whether the method of the result used the point."),
)

_RUNS: tuple[Column, ...] = (
    Column("scan", "", "int64", "Number of the run, the first 1."),
    Column("direction", "", "str", "'up' towards more positive potential, or 'down'."),
    Column("analysed", "", "bool", "Whether the result is that of this run."),
    Column("points", "", "int64", "Points in it."),
    Column("start_V", "V", "float64", "First potential."),
    Column("end_V", "V", "float64", "Last potential."),
    *with_ci95("Ecorr_V", "V", "Potential of zero net current."),
    *with_ci95("icorr_uA_per_cm2", "µA/cm²", "Corrosion current density by `method`."),
    Column("method", "", "str", "Method of the corrosion current; empty where none gives one."),
    *with_ci95("polarization_resistance_ohm_cm2", "ohm cm²", "Slope dE/di at zero current."),
    Column("refused", "", "str", "Why there is no corrosion current; empty where there is one."),
)

_METHODS: tuple[Column, ...] = (
    Column("scan", "", "int64", "Number of the run, the first 1."),
    Column("method", "", "str", "How the corrosion current was taken."),
    Column("chosen", "", "bool", "Whether it is the method of the result."),
    *with_ci95("icorr_uA_per_cm2", "µA/cm²", "Corrosion current density."),
    *with_ci95("anodic_slope_mV_per_decade", "mV/decade", "Anodic Tafel slope."),
    *with_ci95("cathodic_slope_mV_per_decade", "mV/decade", "Cathodic Tafel slope, positive."),
    Column("note", "", "str", "What it rests on."),
    Column("refused", "", "str", "Why there is none; empty where there is one."),
)

_WINDOWS: tuple[Column, ...] = (
    Column("scan", "", "int64", "Number of the run, the first 1."),
    Column("method", "", "str", "Method that used the window."),
    Column("part", "", "str", "'both', 'anodic', 'cathodic', 'zero current' or 'passive'."),
    Column("low_V", "V", "float64", "Lower end."),
    Column("high_V", "V", "float64", "Upper end."),
    Column(
        "icorr_uA_per_cm2",
        "µA/cm²",
        "float64",
        "Corrosion current density from that window, where it gives one.",
    ),
    Column(
        "chosen",
        "",
        "bool",
        "Whether it is the window of the method, or one tried to see what the choice does.",
    ),
)

ELECTROCHEMISTRY_TABLES: dict[str, tuple[Column, ...]] = {
    "sweep": _POINTS,
    "sweep_runs": _RUNS,
    "sweep_methods": _METHODS,
    "sweep_windows": _WINDOWS,
}
"""Table name -> its columns."""
