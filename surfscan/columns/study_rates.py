"""Columns of the report on rates of a study: sweeps, rates, rig logs, materials."""

from __future__ import annotations

from surfscan.columns.base import Column, with_ci95
from surfscan.columns.electrochemistry import ELECTROCHEMISTRY_TABLES
from surfscan.columns.exposure import EXPOSURE_TABLES

_OWNER = (
    Column("specimen", "", "str", "Specimen id; several that share a vessel are joined by ' + '."),
    Column("group", "", "str", "Group of the specimen."),
)
_STATUS = (
    Column("status", "", "str", "done, failed, or not measured (not run yet)."),
    Column("message", "", "str", "Why it failed; empty where it did not."),
)
_END = (
    Column("sha256", "", "str", "SHA-256 of the file as measured; of the readings where there is no file."),
    Column("warnings", "", "str", "Warnings of the entry, separated by ' | '."),
)
_SWEEP = Column("sweep", "", "str", "File of the sweep as named in the study.")
_LOG = (
    Column("log", "", "str", "File of the log as named in the study."),
    Column("specimens", "", "str", "Specimens that were in the rig, joined by ' + '."),
)
_RATE = (
    *with_ci95("rate_mm_per_y", "mm/y", "Penetration rate, with a year of 365.25 d."),
    *with_ci95("rate_g_per_m2_d", "g/(m² d)", "Metal lost over wetted surface and time."),
)
_STRETCH = (
    Column("starts_h", "h", "float64", "Start of the stretch that the rate is the average of."),
    Column("ends_h", "h", "float64", "Its end; both since immersion, empty where it speaks of a moment."),
)

_SWEEPS = (
    _SWEEP,
    *_OWNER,
    Column("twin_of", "", "str", "Exposed specimen that this electrode stands for, where stated."),
    Column("exposure_h", "h", "float64", "Exposure of the electrode, as stated in the study."),
    Column("material", "", "str", "Material of the specimen."),
    *_STATUS,
    Column("scan_count", "1", "float64", "Runs of the potential in the file."),
    Column("scan", "1", "float64", "Run that is analysed, the first 1."),
    Column("direction", "", "str", "'up' towards more positive potential, or 'down'."),
    Column("scan_rate_V_per_s", "V/s", "float64", "Scan rate, where the file tells it."),
    Column("reference", "", "str", "Reference electrode of all potentials of the row."),
    Column("temperature_degC", "°C", "float64", "Of cell and reference electrode."),
    Column("area_cm2", "cm²", "float64", "Wetted surface."),
    Column("area_relative_uncertainty", "1", "float64", "Its relative standard uncertainty; empty: unknown."),
    Column("area_from", "", "str", "Where the area comes from."),
    Column("solution_resistance_ohm", "ohm", "float64", "Resistance whose drop was taken off."),
    *with_ci95("Ecorr_V", "V", "Potential of zero net current."),
    *with_ci95("icorr_uA_per_cm2", "µA/cm²", "Corrosion current density by `method`, area included."),
    Column("method", "", "str", "Method of the corrosion current; empty where none gives one."),
    Column("method_note", "", "str", "What it rests on."),
    *with_ci95("anodic_slope_mV_per_decade", "mV/decade", "Anodic Tafel slope."),
    *with_ci95("cathodic_slope_mV_per_decade", "mV/decade", "Cathodic Tafel slope, positive."),
    *with_ci95("limiting_current_uA_per_cm2", "µA/cm²", "Limiting cathodic current density."),
    Column("series_resistance_ohm_cm2", "ohm cm²", "float64", "Series resistance of the fit."),
    *with_ci95("polarization_resistance_ohm_cm2", "ohm cm²", "Slope dE/di at zero current."),
    Column("stern_geary_B_V", "V", "float64", "Stern-Geary constant used with it."),
    Column("stern_geary_B_origin", "", "str", "Where that constant comes from."),
    *_RATE,
    Column("refused", "", "str", "Why there is no corrosion current; empty where there is one."),
    Column("polarization_refused", "", "str", "Why there is no polarization resistance."),
    *with_ci95("passive_current_density_uA_per_cm2", "µA/cm²", "Median over the passive stretch."),
    Column("passive_low_V", "V", "float64", "Lower end of the passive stretch."),
    Column("passive_high_V", "V", "float64", "Its upper end."),
    Column("passivity_refused", "", "str", "Why there is no passive stretch; empty where there is one."),
    Column("rise_is", "", "str", "What ends the passive stretch, as told by hysteresis and oxygen line."),
    Column("breakdown_V", "V", "float64", "Breakdown potential; empty where none was met."),
    Column(
        "is_breakdown_censored",
        "",
        "bool",
        "Whether there was no breakdown up to the vertex: the breakdown potential is breakdown_at_least_V or "
        "more.",
    ),
    Column("breakdown_at_least_V", "V", "float64", "The vertex, where there was no breakdown up to it."),
    Column("breakdown_at_fixed_density_V", "V", "float64", "Potential at the stated density on the way up."),
    Column("protection_V", "V", "float64", "Where the reverse run meets the forward run."),
    Column("protection_at_most_V", "V", "float64", "Lowest potential where the two do not meet."),
    Column("vertex_V", "V", "float64", "Highest potential of the forward run."),
    Column("hysteresis_decades", "decades", "float64", "Mean log10 of reverse over forward current."),
    Column("hysteresis_uA_V_per_cm2", "µA V/cm²", "float64", "Area of the loop."),
    Column("breakdown_margin_V", "V", "float64", "Breakdown potential less the potential `margin_from`."),
    Column("breakdown_margin_at_least_V", "V", "float64", "The same of breakdown_at_least_V."),
    Column("protection_margin_V", "V", "float64", "Protection potential less that of `margin_from`."),
    Column("margin_from", "", "str", "'rest potential' or 'zero-current potential'."),
    Column("metastable_rises", "1", "float64", "Short rises of the passive current that healed."),
    *_END,
)

_RATES = (
    *_OWNER,
    Column("entry", "", "str", "Sweep, weighing, gas or log that the rate comes from."),
    Column(
        "method", "", "str", "'mass loss', 'gas', 'acid', 'sweep' or 'polarization resistance'. Never pooled."
    ),
    Column("how", "", "str", "How the method was applied."),
    Column("speaks_for", "", "str", "'average' over starts_h to ends_h, or 'instant' of a sweep."),
    *_STRETCH,
    Column("exposure_h", "h", "float64", "Of an instant: exposure of the electrode, where stated."),
    Column("hours_from", "", "str", "Of a weighing: where the immersed hours come from."),
    Column("twin_of", "", "str", "Exposed specimen that the electrode stands for, where stated."),
    Column("n_specimens", "1", "int64", "Specimens whose surface it is the rate of, together."),
    Column("area_cm2", "cm²", "float64", "Their wetted surface."),
    Column("area_relative_uncertainty", "1", "float64", "Its relative standard uncertainty; empty: unknown."),
    Column("area_from", "", "str", "Where the area comes from."),
    Column("material", "", "str", "Material as used."),
    *_RATE,
    Column("valence_low_rate_mm_per_y", "mm/y", "float64", "Lowest over the choices of valences."),
    Column("valence_high_rate_mm_per_y", "mm/y", "float64", "Highest over them; no part of the interval."),
    Column("bias", "", "str", "'reads low', 'reads high' or empty: known error outside the interval."),
    Column("reasons", "", "str", "Why it does, separated by ' | '."),
    Column("refused", "", "str", "Why there is no rate; empty where there is one."),
    Column("enters_means", "", "bool", "Whether the mean of its group and method rests on it."),
)

_GROUPS = (
    Column("group", "", "str", "Group."),
    Column("method", "", "str", "Method; those of different methods are never pooled."),
    Column("n_specimens", "1", "int64", "Specimens that the mean rests on."),
    Column("n_refused", "1", "int64", "Rates of that method in the group that were refused."),
    Column("starts_h", "h", "float64", "Start of the stretch, where all have it in common."),
    Column("ends_h", "h", "float64", "Its end."),
    *with_ci95("mean_rate_mm_per_y", "mm/y", "Mean over specimens, each one value; t-interval between them."),
    Column("sd_rate_mm_per_y", "mm/y", "float64", "Standard deviation between specimens (n - 1)."),
    *with_ci95("mean_rate_g_per_m2_d", "g/(m² d)", "Mean over specimens; t-interval between them."),
    Column("sd_rate_g_per_m2_d", "g/(m² d)", "float64", "Standard deviation between specimens (n - 1)."),
    Column("bias", "", "str", "Known error of the method that no interval holds."),
    Column("interval_refused", "", "str", "Why there is no interval; empty where there is one."),
)

_EXPOSURES = (
    *_LOG,
    Column("group", "", "str", "Group of the specimens."),
    *_STATUS,
    Column("start", "", "str", "When the specimens went in, where the log has dates."),
    Column("stop", "", "str", "When they came out."),
    Column("immersed_h", "h", "float64", "Time in the bath; it enters rates."),
    Column("in_range_h", "h", "float64", "Time with all judged channels in range; for validity only."),
    Column("in_range_fraction", "1", "float64", "in_range_h over immersed_h."),
    Column("verdict", "", "str", "'exposure valid', '... with reservations' or 'exposure not valid'."),
    Column("verdict_reasons", "", "str", "Every rule that was not met, separated by ' | '."),
    Column("readings", "1", "float64", "Rows of the log in the exposure."),
    Column("sampling_interval_s", "s", "float64", "Usual time between readings."),
    Column("gap_count", "1", "float64", "Stretches without readings."),
    Column("gap_h", "h", "float64", "Their time, immersed but not known to be in range."),
    Column("excursion_count", "1", "float64", "Stretches out of range, over all channels."),
    Column("longest_excursion_h", "h", "float64", "The longest of them."),
    Column("resistance_start_kPa_min_per_mL", "kPa min/mL", "float64", "Hydraulic resistance at the start."),
    Column("resistance_end_kPa_min_per_mL", "kPa min/mL", "float64", "At the end; both of a straight line."),
    *with_ci95("resistance_rise_fraction", "1", "Rise of that line over its start."),
    Column("is_clogging", "", "str", "'yes' or 'no' by the stated rule; empty where it cannot be told."),
    Column("acid_mL", "mL", "float64", "Acid dosed."),
    Column("acid_blank_mL", "mL", "float64", "What the bath itself takes, by the stated blank."),
    Column("acid_mmol", "mmol", "float64", "H+ dosed, blank subtracted."),
    Column("acid_metal_mg", "mg", "float64", "Metal that this stands for; empty where it tells nothing."),
    Column("acid_refused", "", "str", "Why the acid gives no rate; empty where it does."),
    Column("checks", "", "str", "Instruments checked before and after, and what was found."),
    *_END,
)

_MATERIALS = (
    Column("material", "", "str", "Material as used."),
    Column("value_of", "", "str", "What the value is of."),
    Column("value", "", "float64", "The value, in `unit`."),
    Column("unit", "", "str", "Its unit."),
    Column("low", "", "float64", "Lower end of the range of published or plausible values, where known."),
    Column("high", "", "float64", "Its upper end."),
    Column("source", "", "str", "Where it comes from."),
    Column(
        "value_status",
        "",
        "str",
        "read, read in a secondary source, from memory, computed, stated by the user, or invented.",
    ),
    Column("enters_rates", "", "bool", "Whether rates rest on it; others stand beside for comparison."),
    Column("note", "", "str", "What to know about it."),
    Column("specimens", "", "str", "Specimens of that material, separated by commas."),
)

RATE_TABLES: dict[str, tuple[Column, ...]] = {
    "study_rates": _RATES,
    "study_rate_groups": _GROUPS,
    "study_rates_over_time": (
        *_OWNER,
        Column("entry", "", "str", "Gas or log that the rate comes from."),
        Column("method", "", "str", "'gas' or 'acid'."),
        *_STRETCH,
        *_RATE,
        Column("refused", "", "str", "Why there is no rate; empty where there is one."),
    ),
    "study_sweeps": _SWEEPS,
    "study_sweep_runs": (_SWEEP, *_OWNER, *ELECTROCHEMISTRY_TABLES["sweep_runs"]),
    "study_sweep_methods": (_SWEEP, *_OWNER, *ELECTROCHEMISTRY_TABLES["sweep_methods"]),
    "study_sweep_windows": (_SWEEP, *_OWNER, *ELECTROCHEMISTRY_TABLES["sweep_windows"]),
    "study_exposures": _EXPOSURES,
    "study_channels": (*_LOG, *EXPOSURE_TABLES["channels"]),
    "study_excursions": (*_LOG, *EXPOSURE_TABLES["excursions"]),
    "study_acid": (*_LOG, *EXPOSURE_TABLES["acid_over_time"]),
    "study_materials": _MATERIALS,
}
"""Table name -> its columns. Intervals of sweep_runs and sweep_methods leave out the area's uncertainty."""
