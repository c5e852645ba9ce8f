"""Columns of rig logs: channels, excursions, acid over time, and the thinned trace."""

from __future__ import annotations

from surfscan.columns.base import Column, with_ci95

_TIME = "Hours since immersion."

EXPOSURE_TABLES: dict[str, tuple[Column, ...]] = {
    "channels": (
        Column("channel", "", "str", "What the channel holds, such as 'temperature'."),
        Column("heading", "", "str", "Heading of its column in the log."),
        Column("unit", "", "str", "Unit of the figures of this row: °C, 1 (pH), mL/min, kPa or mL."),
        Column("unit_in_file", "", "str", "Unit that the log has it in."),
        Column("told_by", "", "str", "How column and unit were told: 'name', 'content' or 'stated'."),
        Column("readings", "1", "int64", "Rows with a usable reading."),
        Column(
            "missing",
            "1",
            "int64",
            "Rows without one: empty, no number, or beyond what a sensor can "
            "read.",
        ),
        Column("not_numbers", "1", "int64", "Fields of the file that hold something else than a number."),
        Column(
            "implausible",
            "1",
            "int64",
            "Values of the file that no sensor in a bath can read; left "
            "out.",
        ),
        Column("mean", "", "float64", "Mean of all readings, in `unit`."),
        Column("sd", "", "float64", "Their standard deviation (n - 1), in `unit`."),
        Column("least", "", "float64", "Least reading, in `unit`."),
        Column("greatest", "", "float64", "Greatest reading, in `unit`."),
        Column(
            "noise",
            "",
            "float64",
            "Root mean square of changes from reading to reading, over the root of two, in `unit`.",
        ),
        Column("set_point", "", "float64", "Set point, in `unit`; not-a-number where it is not judged."),
        Column("tolerance", "", "float64", "Largest distance from it that is in range, in `unit`."),
        Column(
            "known_h",
            "h",
            "float64",
            "Time for which a reading stood: until the next of a channel that is logged in some rows only, "
            "until the next row of others, and not through gaps.",
        ),
        Column(
            "in_range_h",
            "h",
            "float64",
            "Time for which a reading in range stood, frozen stretches left "
            "out.",
        ),
        Column("in_range_fraction", "1", "float64", "in_range_h over the immersed time."),
        Column("excursions", "1", "int64", "Stretches out of range."),
        Column("longest_excursion_h", "h", "float64", "Length of the longest of them."),
        Column("frozen_h", "h", "float64", "Time for which the sensor was frozen."),
        *with_ci95(
            "drift_per_day",
            "",
            "Slope of a straight line through the channel, in `unit` per day; the interval allows for "
            "readings that follow one another.",
        ),
        Column("drift_refused", "", "str", "Why slope or interval are missing; empty where they are not."),
    ),
    "excursions": (
        Column("channel", "", "str", "Channel, or 'log' for gaps and steps of the clock."),
        Column("kind", "", "str", "'above' or 'below' the tolerance, 'frozen', 'doubtful', 'gap', 'daylight "
               "saving', 'doubtful hour' or 'backwards'."),
        Column("start_h", "h", "float64", _TIME),
        Column("length_h", "h", "float64", "From the first reading outside to the first one back inside."),
        Column("outside_h", "h", "float64", "Time outside in it; not-a-number where that has no meaning."),
        Column(
            "worst",
            "",
            "float64",
            "Reading farthest outside, or the frozen one, in the unit of the "
            "channel.",
        ),
        Column("beyond", "", "float64", "Distance of the worst from the limit, in the unit of the channel."),
        Column(
            "size",
            "",
            "float64",
            "Distance beyond the limit summed over time, unit of the channel times "
            "h.",
        ),
    ),
    "acid_over_time": (
        Column("starts_h", "h", "float64", "Start of the stretch; " + _TIME[0].lower() + _TIME[1:]),
        Column("ends_h", "h", "float64", "Its end."),
        Column(
            "acid_mL",
            "mL",
            "float64",
            "Acid dosed from the start of the exposure to the end of the "
            "stretch.",
        ),
        Column("blank_mL", "mL", "float64", "What the same bath without specimen takes up to then."),
        Column("acid_mmol", "mmol", "float64", "H+ dosed up to then, blank subtracted."),
        Column("metal_mg", "mg", "float64", "Metal that this stands for; not-a-number where refused."),
        *with_ci95("rate_mm_per_y", "mm/y", "Penetration rate over the stretch, with a year of 365.25 d."),
        *with_ci95("rate_g_per_m2_d", "g/(m² d)", "Metal lost over wetted surface and time in the stretch."),
        Column("refused", "", "str", "Why there is no rate; empty where there is one."),
    ),
    "log_trace": (
        Column("channel", "", "str", "Channel; 'acid' is the volume dosed so far, 'resistance' pressure drop "
               "over flow in kPa min/mL."),
        Column("time_h", "h", "float64", "Middle of a bin of equal width; hours since immersion."),
        Column("readings", "1", "int64", "Usable readings in the bin."),
        Column("least", "", "float64", "Least of them, in the unit of the channel."),
        Column("mean", "", "float64", "Their mean; of the resistance, mean pressure drop over mean flow."),
        Column("greatest", "", "float64", "Greatest of them."),
    ),
}  # fmt: skip
"""Table name -> its columns."""
