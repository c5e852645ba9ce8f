"""Tables of the page about height maps: specimens, maps and their texture."""

from __future__ import annotations

import math
from collections.abc import Sequence

from surfscan.columns import TEXTURE_PARAMETERS
from surfscan.report.cells import HEADS, Cell, Grid, Head, estimate_cell
from surfscan.report.grids import hours
from surfscan.report.height_specimens import PRESENT_SURFACE
from surfscan.report.pooling import SpecimenSummary
from surfscan.report.records import NOT_STATED, WITH_PRODUCT, FieldRecord, of_kind, words
from surfscan.report.rounding import NO_VALUE, at_least, round_to_interval, significant

_TEXTURE_HALVES = (
    ("heights and slopes", ("Sa_um", "Sq_um", "Sz_um", "Sp_um", "Sv_um", "Ssk", "Sku", "Sdq", "Sdr")),
    (
        "bearing curve and spacing",
        (
            "Sk_um",
            "Spk_um",
            "Svk_um",
            "Smr1",
            "Smr2",
            "Vmp_um",
            "Vmc_um",
            "Vvc_um",
            "Vvv_um",
            "Sal_um",
            "Str",
            "Std_deg",
        ),
    ),
)
_AS_PERCENT = ("Sdr", "Smr1", "Smr2")
_LEVELS = {"unexposed surface": "unexposed", "masked datum": "datum"}
_UNITS = {"µm": "µm", "1": "", "deg": "°"}


def height_specimen_grid(specimens: Sequence[SpecimenSummary]) -> Grid:
    """One row a specimen that has height maps."""
    heads = [
        Head("Specimen", "group, surface"),
        Head("Exposure", "h", number=True),
        Head("Maps", "n, measured", number=True),
        Head("Pits", "n", number=True),
        Head(*HEADS["pit_density_per_mm2"][:2], number=True),
        Head("Greatest depth", "µm", number=True),
        Head("Ten deepest", "µm, mean", number=True),
        Head("Median depth", "µm", number=True),
        Head("Volume per area", "µm", number=True),
        Head("Mean penetration", "µm", number=True),
        Head("Pitting factor", "surface", number=True),
        Head("ASTM G46", "depth"),
        Head("Worst-seen map", "in no figure"),
    ]
    caption = (
        "Specimens: height maps pooled, 95 % interval below. ≥ marks a lower bound: the floor of a pit was "
        "not measured"
    )
    rows = [_specimen_cells(s) for s in specimens if s.deep.row]
    return Grid(caption, heads, rows).without_empty_columns()


def height_specimen_notes(specimens: Sequence[SpecimenSummary]) -> list[str]:
    """What the marks in that table mean, and from what level depths are counted."""
    rows = [s.deep.row for s in specimens if s.deep.row]
    notes = []
    if any(row["pits_condition"] == WITH_PRODUCT for row in rows):
        notes.append("† Measured with corrosion product on the surface: product may fill pits.")
    if any(row["pits_condition"] == NOT_STATED for row in rows):
        notes.append("¶ Surface condition not stated: corrosion product, if any, may fill pits.")
    if any(row["n_failed"] for row in rows):
        notes.append("‡ Some height maps of this specimen were not measured; see below.")
    if any(not math.isnan(row["pitting_factor"]) for row in rows):
        notes.append(
            "Pitting factor: from the original surface, greatest over mean penetration. Where that level is "
            "not known, from the present one, greatest depth over volume per area: recession would make it "
            "smaller."
        )
    if any("outside" in row["g46_depth_class"] for row in rows):
        notes.append("* Outside the rating chart of ASTM G46; nothing is extrapolated.")
    return notes


def level_sentences(records: Sequence[FieldRecord]) -> list[str]:
    """From what level depths and losses are counted, for the maps of the study."""
    measured = [r for r in of_kind(records, "heights") if r.done("pits")]
    levels: dict[str, int] = {}
    for record in measured:
        level = record.text("pits", "original_level") or PRESENT_SURFACE
        levels[level] = levels.get(level, 0) + 1
    said = []
    if PRESENT_SURFACE in levels:
        which = "" if len(levels) == 1 else f" ({levels[PRESENT_SURFACE]} of {len(measured)} height maps)"
        said.append(
            f"Depth and volume are losses below the present surface{which}: a lower bound of penetration, "
            "since uniform recession cannot be seen."
        )
    known = {level: n for level, n in levels.items() if level != PRESENT_SURFACE}
    if known:
        which = ", ".join(f"{level}: {n}" for level, n in known.items())
        said.append(
            f"The original level is known on {sum(known.values())} of {len(measured)} height maps ({which}): "
            "there, penetration and pitting factor count from it."
        )
    return said


def height_grid(records: Sequence[FieldRecord]) -> Grid:
    """One row a height map with pits measured."""
    heads = [
        Head("Height map"),
        Head("Specimen"),
        Head("Pixel", "µm", number=True),
        Head("Form off"),
        Head("Measured", "%", number=True),
        Head("Roughness Sq", "µm", number=True),
        Head("Smallest depth", "µm", number=True),
        Head("Pits", "n", number=True),
        Head("Greatest depth", "µm", number=True),
        Head("Ten deepest", "µm, mean", number=True),
        Head("Median depth", "µm", number=True),
        Head("10 to 90 %", "of pits, µm", number=True),
        Head("Volume per area", "µm", number=True),
        Head("Warnings", "n", number=True),
    ]
    rows = [_map_cells(r) for r in of_kind(records, "heights") if r.done("pits")]
    return Grid(f"Height maps ({len(rows)})", heads, rows).without_empty_columns()


def texture_specimen_grid(specimens: Sequence[SpecimenSummary]) -> Grid:
    """One row a specimen: means over its height maps."""
    names = ("Sa_um", "Sq_um", "Sdr")
    heads = [
        Head("Specimen"),
        Head("Group"),
        Head("Surface"),
        Head("Height maps", "n", number=True),
        Head("Texture of"),
        *(Head(*HEADS[name][:2], number=True) for name in names),
    ]
    rows = []
    for summary in specimens:
        row = summary.deep.row
        if not row or not row["n_texture_fields"]:
            continue
        rows.append(
            [
                Cell(row["specimen"]),
                Cell(row["group"]),
                Cell(words(row["texture_condition"])),
                Cell(str(row["n_texture_fields"])),
                Cell(_surface(row["texture_surface"], row["s_cutoff_um"], row["l_cutoff_um"])),
                *(
                    estimate_cell(
                        row[name], row[f"{name}_ci95_low"], row[f"{name}_ci95_high"], scale=HEADS[name][2]
                    )
                    for name in names
                ),
            ]
        )
    return Grid("Areal texture of specimens: means over height maps, 95 % interval below", heads, rows)


def texture_grids(records: Sequence[FieldRecord]) -> list[Grid]:
    """Every texture parameter of every height map, in two tables."""
    measured = [r for r in of_kind(records, "heights") if r.done("texture")]
    columns = {c.name: c for c in TEXTURE_PARAMETERS}
    grids = []
    for title, names in _TEXTURE_HALVES:
        heads = [Head("Height map")]
        for name in names:
            unit = "%" if name in _AS_PERCENT else _UNITS[columns[name].unit]
            heads.append(Head(name.removesuffix("_um").removesuffix("_deg"), unit, number=True))
        rows = [
            [
                Cell(r.image_id),
                *(Cell(_texture_text(n, r.figure("texture", n))) for n in names),
            ]
            for r in measured
        ]
        if rows:
            grids.append(Grid(f"Areal texture: {title} ({len(rows)} height maps)", heads, rows))
    return grids


def texture_meanings() -> list[tuple[str, str]]:
    """Symbol and meaning of every texture parameter, as the data dictionary has them."""
    return [(c.name.removesuffix("_um").removesuffix("_deg"), c.definition) for c in TEXTURE_PARAMETERS]


def _specimen_cells(summary: SpecimenSummary) -> list[Cell]:
    row = summary.deep.row
    marks = "".join(
        mark
        for mark, holds in (
            ("†", row["pits_condition"] == WITH_PRODUCT),
            ("¶", row["pits_condition"] == NOT_STATED),
            ("‡", row["n_failed"]),
        )
        if holds
    )

    def estimate(name: str, is_lower_bound: bool = False) -> Cell:
        low, high = row[f"{name}_ci95_low"], row[f"{name}_ci95_high"]
        return estimate_cell(row[name], low, high, scale=HEADS[name][2], is_lower_bound=is_lower_bound)

    density = estimate("pit_density_per_mm2")
    if math.isnan(row["pit_density_per_mm2"]) and not math.isnan(row["pit_density_per_mpx"]):
        per_mpx = estimate("pit_density_per_mpx")
        density = Cell(per_mpx.text, (*per_mpx.lines, HEADS["pit_density_per_mpx"][1]))
    whose = (row["group"], words(row["pits_condition"]))
    share = row["measured_fraction"]
    bound = row["max_depth_is_lower_bound"]
    n_bounds = row["lower_bound_depth_count"]
    known = row["original_level"] not in ("", PRESENT_SURFACE)
    worst = row["worst_seen_max_depth_um"]
    return [
        Cell(f"{row['specimen']} {marks}".strip(), (", ".join(filter(None, whose)),)),
        Cell(hours(row["exposure_h"])),
        Cell(str(row["n_pit_fields"]), () if math.isnan(share) else (f"{significant(100 * share)}\u00a0%",)),
        Cell(
            NO_VALUE if math.isnan(row["pit_count"]) else f"{row['pit_count']:.0f}",
            (f"{n_bounds:.0f} of them ≥",) if n_bounds > 0 else (),
        ),
        density,
        estimate("max_depth_um", bound),
        Cell(
            at_least(significant(row["mean_depth_10_deepest_um"]), bound),
            ()
            if row["deepest_count"] in (0.0, 10.0) or math.isnan(row["deepest_count"])
            else (f"all {row['deepest_count']:.0f}",),
        ),
        Cell(significant(row["median_depth_um"])),
        estimate("volume_per_area_um"),
        Cell(
            significant(row["mean_penetration_um"]),
            (f"from {_LEVELS[row['original_level']]}",) if known else (),
        ),
        Cell(
            significant(row["pitting_factor"], 2),
            () if math.isnan(row["pitting_factor"]) else ("original",) if known else ("present",),
        ),
        Cell(row["g46_depth_class"].replace(" (outside chart)", "*").replace(" ", "\u00a0")),
        Cell(
            "" if math.isnan(worst) else "× shown", () if math.isnan(worst) else (f"{significant(worst)} µm",)
        ),
    ]


def _map_cells(record: FieldRecord) -> list[Cell]:
    def shown(name: str, digits: int = 3) -> str:
        return significant(record.figure("pits", name), digits)

    stored = record.done("pits")
    scale = stored.calibration if stored else None
    pixel = NO_VALUE
    if scale:
        sizes = dict.fromkeys(significant(v) for v in (scale.pixel_size_x_um, scale.pixel_size_y_um))
        pixel = " × ".join(sizes)
    bounds = record.figure("pits", "lower_bound_depth_count")
    low, high = record.interval("pits", "max_depth_um")
    bound = record.flag("pits", "max_depth_is_lower_bound")
    spread = [shown("depth_p10_um"), shown("depth_p90_um")]
    return [
        Cell(f"{record.image_id}{'' if record.enters_means else ' ×'}"),
        Cell(record.specimen.id),
        Cell(pixel),
        Cell(record.map_text("form")),
        Cell(significant(100 * record.map_figure("measured_fraction"))),
        Cell(shown("roughness_sq_um", 2)),
        Cell(shown("smallest_depth_um", 2)),
        Cell(f"{record.figure('pits', 'pit_count'):.0f}", (f"{bounds:.0f} of them ≥",) if bounds > 0 else ()),
        estimate_cell(record.figure("pits", "max_depth_um"), low, high, is_lower_bound=bound),
        Cell(at_least(shown("mean_depth_10_deepest_um"), bound)),
        Cell(shown("median_depth_um")),
        Cell(NO_VALUE if spread == [NO_VALUE] * 2 else " to ".join(spread)),
        Cell(shown("volume_per_area_um")),
        Cell(str(len(record.warnings))),
    ]


def _texture_text(name: str, value: float) -> str:
    """A texture parameter; an angle to a tenth of a degree."""
    if name == "Std_deg":
        return round_to_interval(value, places=1).value
    return significant(value * (100 if name in _AS_PERCENT else 1))


def _surface(name: str, s_cutoff_um: float, l_cutoff_um: float) -> str:
    parts = [
        f"{letter} {significant(value)} µm"
        for letter, value in (("S", s_cutoff_um), ("L", l_cutoff_um))
        if not math.isnan(value)
    ]
    return f"{name} ({', '.join(parts)})" if parts else name
