"""What the page shows of corrections: who corrected what, what came of it, and how far two people agree."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from surfscan.report.by_hand import HandFigure, share_of_area, share_of_length, share_of_objects
from surfscan.report.by_hand_agreement import PairAgreement
from surfscan.report.by_hand_tables import ByHand, correction_row, is_in_figures, is_in_force
from surfscan.report.cells import HEADS, Cell, Grid, Head
from surfscan.report.page_parts import OnPage, PageContent, Part
from surfscan.report.pooling import count
from surfscan.report.records import FieldRecord
from surfscan.report.rounding import NO_VALUE, significant
from surfscan.store.corrections import Correction
from surfscan.study.reviewed import SCALE

METHOD = [
    "Corrected by hand: nothing is searched where a person corrected a mask or an edge; what is left is "
    "measured by the same code, with today's settings. The automatic result stays beside it. The latest save "
    "on the very same file counts, or that of the reviewer whom study.toml names.",
    "Share by hand. Counts and sizes of pits: objects drawn, redrawn, split, merged or rejected over all "
    "objects. Areas, volumes and mean penetration: area in such objects, or painted into or out of the "
    "class, over what stands and what was taken away. Mean widths: length with a moved edge over all length. "
    "Greatest and least values: whole, where the correction changed them. A group: mean over its specimens.",
]
OF_TWO = (
    "Two reviewers: objects are one and the same where their common pixels are more than half of those of "
    "both together; kappa (Cohen 1960, interval after Fleiss, Cohen and Everitt 1969) is on accepting or "
    "rejecting the automatic objects; limits of agreement are those of Bland and Altman (1986), mean "
    "difference and 1.96 standard deviations either side, over images."
)
_NAMES = {
    "pits": "pits",
    "degraded": "degraded area",
    "struts": "strut edges",
    "section": "cross-section",
    SCALE: "scale",
}
_FIGURES = {"pit_count": ("Pit count", "pits", 1.0), "area_fraction": ("Area", "% of the field", 100.0)}
_COUNTS = (
    ("rejected_count", "rejected"),
    ("added_count", "added"),
    ("split_count", "split"),
    ("merged_count", "merged"),
    ("outline_moved_count", "redrawn"),
    ("unsure_count", "not sure"),
)


def by_hand_page(content: PageContent) -> OnPage | None:
    """All that the page says of corrections; None where nothing was corrected."""
    found = content.by_hand
    if found is None:
        return None
    shown: dict[str, Any] = {
        "groups": _grid_of(found.figures, "group"),
        "specimens": _grid_of(found.figures, "specimen"),
        "corrections": correction_grid(found),
        "reviewers": reviewer_grid(found.pairs) if found.pairs else None,
        "limits": limits_grid(found.pairs) if any(pair.limits for pair in found.pairs) else None,
        "long": max(len(found.figures), sum(len(s) for r in found.records for s in r.saved.values())) > 40,
    }
    return OnPage(
        "Corrected by hand",
        "corrections by hand",
        sentences(found),
        [Part("by-hand", "Corrected by hand", "parts/by_hand.html.j2", shown)],
        None,
        [],
        [*METHOD, *([OF_TWO] if found.pairs else [])],
    )


def sentences(found: ByHand) -> list[str]:
    """How much of the study came by hand, in a sentence or two for the summary."""
    corrected = [r for r in found.records if r.corrections]
    scales = sum(r.reviews.scale is not None for r in found.records)
    reviewers = dict.fromkeys(
        c.reviewer for r in found.records for c in [*r.corrections.values(), *_scale_of(r)]
    )
    parts = [
        *([f"{count(len(corrected), 'image')} measured as corrected by hand"] if corrected else []),
        *([f"the scale of {count(scales, 'image')} confirmed by hand"] if scales else []),
    ]
    said = " and ".join(parts)
    lines = [f"{said[0].upper()}{said[1:]}, by {', '.join(reviewers)}."] if parts else []
    of_groups = [f for f in found.figures if f.level == "group" and not math.isnan(f.share)]
    most = max(of_groups or found.figures, key=lambda f: -1 if math.isnan(f.share) else f.share, default=None)
    if most is not None and most.share > 0:
        name = HEADS[most.figure][0].lower()
        lines.append(
            f"Most by hand: {name} of {most.name}, {percent(most.share)} of it"
            + ("." if math.isnan(most.change) else f" ({_signed(most.change)} against automatic).")
        )
    return lines


def _grid_of(figures: Sequence[HandFigure], level: str) -> Grid | None:
    own = [f for f in figures if f.level == level]
    return figure_grid(own, level) if own else None


def figure_grid(figures: Sequence[HandFigure], level: str) -> Grid:
    """Every figure of specimens or groups that rests on a corrected image, with and without corrections."""
    heads = [
        Head(level.capitalize()),
        Head("Figure"),
        Head("With corrections", number=True),
        Head("Automatic", number=True),
        Head("Change", "%", number=True),
        Head("By hand", "%", number=True),
        Head("Images corrected"),
    ]
    rows = []
    for f in figures:
        head, unit, scale = HEADS[f.figure]
        rows.append(
            [
                Cell(f.name),
                Cell(head, (unit,)),
                Cell(significant(f.value * scale), value=f.value, figure=f.figure),
                Cell(significant(f.automatic * scale), value=f.automatic, figure=f.figure),
                Cell(NO_VALUE if math.isnan(f.change) else _signed(f.change, unit="")),
                Cell(NO_VALUE if math.isnan(f.share) else percent(f.share, unit="")),
                Cell(f"{f.n_corrected} of {f.n_images}"),
            ]
        )
    return Grid(f"Figures of {level}s with and without corrections", heads, rows)


def correction_grid(found: ByHand) -> Grid:
    """Every save on record, the ones that count marked."""
    heads = [
        Head("Image"),
        Head("Corrected"),
        Head("By"),
        Head("Saved", "UTC"),
        Head("What changed"),
        Head("By hand"),
        Head("Why"),
        Head("In the figures"),
    ]
    rows = []
    for record in found.records:
        for saved in record.saved.values():
            for each in saved:
                row = correction_row(record, each, found.changes)
                rows.append(
                    [
                        Cell(record.image_id, (record.specimen.id,)),
                        Cell(_NAMES[each.procedure]),
                        Cell(each.reviewer),
                        Cell(each.saved_at[:10], (each.saved_at[11:16],)),
                        Cell(what_changed(row)),
                        Cell(_by_hand(row)),
                        Cell(each.reason),
                        Cell(_standing(record, each)),
                    ]
                )
    return Grid("Corrections on record", heads, rows).without_empty_columns()


def what_changed(row: dict[str, Any]) -> str:
    """What a correction changed in words: "2 rejected, 1 split; 310 px added"."""
    if row["procedure"] == SCALE:
        size = row["pixel_size_x_um"]
        return "no scale confirmed" if math.isnan(size) else f"{significant(size, 4)} µm a pixel"
    if row["procedure"] == "struts":
        return count(round(_known(row["move_count"])), "edge") + " moved"
    counts = [f"{n:.0f} {word}" for name, word in _COUNTS if (n := _known(row[name]))]
    areas = [
        f"{n:.0f} px {word}"
        for name, word in (
            ("rejected_area_px", "taken away"),
            ("added_area_px", "added"),
            ("moved_area_px", "moved"),
        )
        if (n := _known(row[name]))
    ]
    return "; ".join(filter(None, [", ".join(counts), ", ".join(areas)])) or "nothing: accepted as found"


def _by_hand(row: dict[str, Any]) -> str:
    if row["procedure"] == SCALE:
        return ""
    if row["procedure"] == "struts":
        share = share_of_length({"by_hand_fraction": row["length_by_hand_fraction"]})
        return "" if math.isnan(share) else f"{percent(share)} of the length"
    area = share_of_area(row)
    objects = share_of_objects(row)
    said = [] if math.isnan(area) else [f"{percent(area)} of the area"]
    if row["procedure"] == "pits" and not math.isnan(objects):
        said.insert(0, f"{percent(objects)} of the objects")
    return ", ".join(said)


def _standing(record: FieldRecord, correction: Correction) -> str:
    if is_in_figures(record, correction):
        return "yes"
    return "counts, not measured with yet" if is_in_force(record, correction) else "no: on record"


def reviewer_grid(pairs: Sequence[PairAgreement]) -> Grid:
    """Two reviewers on each image, and over all of them."""
    heads = [
        Head("Image"),
        Head("Reviewers"),
        Head("Dice of area", number=True),
        Head("Objects", "both / first / second"),
        Head("Kappa", "95 % interval", number=True),
        Head("Judged", "objects", number=True),
    ]
    rows = []
    for pair in pairs:
        who = f"{pair.first}, {pair.second}"
        for one in pair.images:
            found = one.agreement
            has_objects = pair.procedure == "pits"
            objects = f"{found.matched_count} / {found.first_count} / {found.second_count}"
            rows.append(
                [
                    Cell(one.record.image_id, (_NAMES[pair.procedure],)),
                    Cell(who),
                    Cell(significant(found.dice)),
                    Cell(objects if has_objects else ""),
                    *_kappa_cells(found.kappa),
                ]
            )
        if len(pair.images) > 1 and pair.kappa is not None:
            whole = f"all {len(pair.images)} images"
            rows.append(
                [
                    Cell(whole, (_NAMES[pair.procedure],)),
                    Cell(who),
                    Cell(""),
                    Cell(""),
                    *_kappa_cells(pair.kappa),
                ]
            )
    return Grid("Two reviewers of the same images", heads, rows).without_empty_columns()


def _kappa_cells(kappa: Any) -> list[Cell]:
    if kappa is None:
        return [Cell(""), Cell("")]
    judged = Cell(str(kappa.count))
    if kappa.value is None:
        return [Cell(NO_VALUE, (kappa.why_none,)), judged]
    interval = (" to ".join(map(_two_places, kappa.ci95)),) if kappa.ci95 else ()
    return [Cell(_two_places(kappa.value), interval), judged]


def limits_grid(pairs: Sequence[PairAgreement]) -> Grid:
    """Differences of figures between two reviewers over images."""
    heads = [
        Head("Figure"),
        Head("Reviewers", "first less second"),
        Head("Mean difference", "95 % interval", number=True),
        Head("Limits of agreement", number=True),
        Head("Images", number=True),
    ]
    rows = []
    for pair in pairs:
        for name, limits in pair.limits.items():
            if limits.bias is None or limits.bias_ci95 is None or limits.low is None or limits.high is None:
                continue
            head, unit, scale = _FIGURES[name]
            low, high = (significant(v * scale) for v in limits.bias_ci95)
            rows.append(
                [
                    Cell(f"{head}, {_NAMES[pair.procedure]}", (unit,)),
                    Cell(f"{pair.first}, {pair.second}"),
                    Cell(significant(limits.bias * scale), (f"{low} to {high}",)),
                    Cell(f"{significant(limits.low * scale)} to {significant(limits.high * scale)}"),
                    Cell(str(limits.count)),
                ]
            )
    return Grid("Figures of two reviewers over images", heads, rows)


def percent(share: float, unit: str = " %") -> str:
    """A share in percent: 0 only where nothing at all came by hand, 100 only where all did."""
    value = 100 * share
    if 0 < value < 0.1:
        return f"below 0.1{unit}"
    digits = 1 if value < 9.95 or 99 < value < 100 else 0
    return f"{value:.{digits}f}{unit}" if value else f"0{unit}"


def _two_places(value: float) -> str:
    return f"{value:.2f}".replace("-", "−")


def _signed(change: float, unit: str = " %") -> str:
    return f"{100 * change:+.1f}{unit}".replace("-", "−")


def _known(value: float) -> float:
    return 0.0 if math.isnan(value) else value


def _scale_of(record: FieldRecord) -> list[Correction]:
    return [] if record.reviews.scale_from is None else [record.reviews.scale_from]
