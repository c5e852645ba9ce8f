"""Sentences of the page: short, and saying what, how sure, from how many."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from surfscan.estimates.groups import GroupEstimate
from surfscan.report.cells import HEADS
from surfscan.report.groups import GroupSummary
from surfscan.report.pooling import SpecimenSummary, count
from surfscan.report.records import NOT_STATED, FieldRecord, of_kind, words
from surfscan.report.rounding import Rounded, round_to_interval, significant

if TYPE_CHECKING:
    from surfscan.study.entries import Shows

CAUTIONS = (
    "These are laboratory measurements for comparing surfaces. They are no clinical, safety or release "
    "decision; local codes and licensed practice govern.",
    "Cleaning baths for corroded metal hold strong acids and oxidisers; chromic acid is toxic and "
    "carcinogenic. Work in a fume cupboard with eye and hand protection, keep oxidisers away from organic "
    "matter, and collect the waste.",
    "Magnesium and zinc give off hydrogen in acid baths: no flames or sparks, and never a closed vessel.",
    "Thin metal parts have sharp edges and loose ends. Handle them with tweezers and cut-proof gloves.",
)

NOT_MEASURED = (
    "Depth on pictures: grey is not depth. A micrograph shows openings; undercut and subsurface attack stay "
    "hidden.",
    "Metal lost by uniform attack: neither pit density nor degraded area says how much.",
    "Pits below the smallest size counted, which follows the pixel size (settings below).",
)

METHOD = (
    "Pits are found by local contrast to noise and outlined at half contrast between the median of their "
    "floor and the metal around them.",
    "Pit density: every pit that lies wholly in the frame counts with its Miles-Lantuéjoul edge weight; pits "
    "cut by the frame count in pit_count and in the pitted area, not in the density. One field: Poisson "
    "interval. Several fields: summed weights over summed areas, between-field t-interval.",
    "Area fractions: mean over fields with the between-field t-interval of ASTM E562 and E1245, in which "
    "each field counts by its area. The uncertainty of the class boundary (degraded area) and of where "
    "outlines run (pitted area), common to all fields, is combined with it by effective degrees of freedom "
    "(JCGM 100, G.4.1), no narrower than either.",
    "Two or three fields may agree by chance better than independent pits can; then density keeps the "
    "Poisson interval of the pooled count, and pitted area the pooled intervals of its fields.",
    "Intervals of densities per mm² hold the pixel size, whose relative standard uncertainty stands in "
    "tables/images.csv (1 % is declared where there is no certificate: 2 % of a length, 4 % of an area or a "
    "density, at 95 %); area fractions do not depend on it.",
    "Nothing is subtracted from a median diameter, for diameters do not add up.",
    "Ratings by ASTM G46: nearest class on a logarithmic scale; beyond the chart it says 'outside chart'.",
)

METHOD_OF_GROUPS = (
    "Worst-seen fields are shown and marked; they enter no mean and no density.",
    "Groups: mean over specimens with t-interval (ASTM G16); below three specimens no interval is given. The "
    "baseline group's mean is subtracted; u² of both add up, degrees of freedom by Welch-Satterthwaite "
    "(JCGM 100). A negative difference stays as it is.",
    "Group intervals hold the scatter between specimens and the uncertainty of the scale, which more "
    "specimens do not average out; not what else all images share, such as where outlines and class "
    "boundaries run.",
    "Specimens with more metal than before or as drawn, beyond their interval, enter no mean of loss, "
    "section or penetration; warnings name them.",
    "Numbers here are rounded to two digits of the interval's half width, means without an interval to those "
    "of their specimens; the tables hold all digits. A greatest penetration whose interval holds 0 is given "
    "as 'not above' its upper limit.",
)
"""What holds for every kind of image."""

_LEADING = ("pit_density_per_mm2", "degraded_area_fraction")
_KINDS: dict[Shows, str] = {
    "surface": "of surfaces",
    "heights": "height maps",
    "strut": "of struts",
    "section": "of cross-sections",
}


def study_sentence(
    records: Sequence[FieldRecord], groups: Sequence[GroupSummary], specimens: Sequence[SpecimenSummary]
) -> str:
    """How many specimens and groups there are, and how many images of which kind were measured."""
    text = f"{count(len(specimens), 'specimen')} in {count(len(groups), 'group')}."
    if not records:
        return text
    measured = sum(all(r.status(p) == "done" for p in r.image.procedures) for r in records)
    worst = sum(not r.enters_means for r in records)
    kinds = [f"{n} {said}" for kind, said in _KINDS.items() if (n := len(of_kind(records, kind)))]
    text += f" {measured} of {count(len(records), 'image')} measured in full"
    text += f" ({', '.join(kinds)})" if len(kinds) > 1 else ""
    text += f"; {worst} worst-seen, shown but in no mean" if worst else ""
    return f"{text}."


def surface_sentences(records: Sequence[FieldRecord], groups: Sequence[GroupSummary]) -> list[str]:
    """The largest and smallest group means from pictures of surfaces."""
    out = group_sentences(groups, _LEADING)
    seen = of_kind(records, "surface")
    unscaled = sum(1 for r in seen if (done := r.any_done()) and done.calibration is None)
    if unscaled:
        out.append(
            f"{count(unscaled, 'image')} without a known scale: counts and fractions stand, sizes are in px."
        )
    return out


def group_sentences(groups: Sequence[GroupSummary], names: Sequence[str]) -> list[str]:
    """Largest group mean of some figures, and less its baseline, or else the smallest beside it."""
    out = []
    for name in names:
        head, plain_unit, scale = HEADS[name]
        unit = f"\u00a0{plain_unit}"
        ranked = sorted(
            (g for g in groups if g.means[name].n and not math.isnan(g.means[name].value)),
            key=lambda g: g.means[name].value,
        )
        if not ranked:
            continue
        top = ranked[-1]
        text = f"{head} is highest in “{top.name}”: {group_estimate(top, name)}"
        difference = top.differences.get(name)
        if difference and not math.isnan(difference.value):
            places = _rounded(top, name).places
            number = round_to_interval(difference.value, *_limits(difference), scale=scale, places=places)
            sure = number.interval if number.has_interval else f"no interval: {difference.refused}"
            text += f"; less its baseline “{top.baseline}” {number.value}{unit} ({sure})"
        elif len(ranked) > 1:
            text += f"; lowest in “{ranked[0].name}”: {group_estimate(ranked[0], name)}"
        out.append(text + ".")
    return out


def group_estimate(group: GroupSummary, name: str) -> str:
    """Mean of a figure over the specimens of a group, how sure, and of how many."""
    number = _rounded(group, name)
    sure = f"95 % interval {number.interval}, " if number.has_interval else "no interval, "
    return f"{number.value}\u00a0{HEADS[name][1]} ({sure}{count(group.means[name].n, 'specimen')})"


def beyond_sentence(groups: Sequence[GroupSummary], kind: Shows) -> list[str]:
    """Names the specimens on which more metal was measured than there was; none where there are none."""
    named = [m.specimen.id for g in groups for m in g.members if m.by_kind[kind].beyond]
    if not named:
        return []
    return [
        f"More metal than before or as drawn, beyond the interval, on pictures of {', '.join(named)}: they "
        "are in no mean of loss, section or penetration; check scale and sizes."
    ]


def field_caption(record: FieldRecord, scale_words: str) -> str:
    """What a field shows, how it was taken and what was found on it."""
    sentences = [taken_sentence(record)]
    if record.done("pits"):
        near, review = record.figure("pits", "near_limit_count"), record.figure("pits", "for_review_count")
        found = count(round(record.figure("pits", "pit_count")), "pit")
        text = found + asides(near, review)
        density = _figure(record, "pits", "pit_density_per_mm2", "\u00a0mm⁻²", 1.0)
        density = density or _figure(record, "pits", "pit_density_per_mpx", "\u00a0per million px", 1.0)
        pitted = _figure(record, "pits", "pitted_area_fraction", "\u00a0%", 100.0)
        text += f"; density {density}" if density else ""
        text += f"; pitted area {pitted}" if pitted else ""
        sentences.append(text + ".")
    if record.done("degraded"):
        share = _figure(record, "degraded", "degraded_area_fraction", "\u00a0%", 100.0)
        sentences.append(f"Degraded area {share}." if share else "Degraded area not determined.")
    if scale_words:
        sentences.append(scale_words[0].upper() + scale_words[1:] + ".")
    return " ".join(sentences)


def asides(near: float, review: float, bounds: float = 0.0) -> str:
    """In brackets how many pits lie near a limit, wait for review or are lower bounds; empty where none."""
    said = [f"{near:.0f} near a limit"] if near > 0 else []
    said += [f"{review:.0f} more for review"] if review > 0 else []
    said += [f"{bounds:.0f} at least as deep as measured"] if bounds > 0 else []
    return f" ({', '.join(said)})" if said else ""


def taken_sentence(record: FieldRecord) -> str:
    """How the surface and the field of an image came to be."""
    image = record.image
    cleaning = f" ({image.cleaning})" if image.cleaning else ""
    parts = [
        "Surface not stated"
        if image.condition == NOT_STATED
        else f"Surface {words(image.condition)}{cleaning}",
        "field choice not stated"
        if image.field_choice == NOT_STATED
        else f"field choice {words(image.field_choice)}",
    ]
    return "; ".join(parts) + "."


def field_alt(record: FieldRecord, procedure: str) -> str:
    """Text that stands for a picture."""
    if procedure == "pits":
        n = round(record.figure("pits", "pit_count"))
        return f"Micrograph {record.image_id} with {count(n, 'pit')} outlined"
    share = record.figure("degraded", "degraded_area_fraction")
    found = (
        "degraded area hatched" if math.isnan(share) else f"{significant(share * 100)} % degraded, hatched"
    )
    return f"Micrograph {record.image_id}: {found}"


def _figure(record: FieldRecord, procedure: str, name: str, unit: str, scale: float) -> str:
    value = record.figure(procedure, name)
    if math.isnan(value):
        return ""
    low, high = record.interval(procedure, name)
    number = round_to_interval(value, low, high, scale=scale)
    return f"{number.value}{unit}" + (f" ({number.interval})" if number.has_interval else "")


def _rounded(group: GroupSummary, name: str) -> Rounded:
    mean = group.means[name]
    return round_to_interval(mean.value, *_limits(mean), scale=HEADS[name][2], doubt=group.doubt(name))


def _limits(estimate: GroupEstimate) -> tuple[float, float]:
    return estimate.ci95 or (math.nan, math.nan)
