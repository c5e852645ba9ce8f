"""Sentences of the page about polished cross-sections."""

from __future__ import annotations

import math
from collections.abc import Sequence

from surfscan.report.groups import GroupSummary
from surfscan.report.pooling import count
from surfscan.report.prose import group_estimate, taken_sentence
from surfscan.report.records import FieldRecord, of_kind
from surfscan.report.rounding import NO_VALUE, greatest_words, round_to_interval, significant
from surfscan.report.section_records import (
    FALLBACK,
    ORIGINALS,
    Section,
    pieces,
    sections_of,
    sources_counted,
    thickness_share,
)

NOT_MEASURED = (
    "Beyond the plane of a section: each is one cut through the part, and attack may be deeper a little "
    "further on. Least section and greatest penetration of the part are seen only by luck; cut several.",
    "The angle of a cut, where none is stated: an oblique cut makes the section too large by 1 / cos of the "
    "angle (1.5 % at 10°, 6 % at 20°), and thickness and penetration with it.",
    "What polishing did: soft metal smears over cracks and thin product, edges are rounded, brittle product "
    "breaks out and looks like a crack or pore.",
    "Swelling and spalling of product: it takes up more room than the metal it came from, so its outer edge "
    "says little about the original outline.",
)

METHOD = (
    "Polished cross-sections: metal, product, mounting medium and voids are told apart by grey level; the "
    "metal ends at half level between it and what is beside it. Metal area holds islands and leaves out "
    "product, cracks and pores.",
    "Original outline, in this order: the registered picture before exposure, an unexposed twin, a stated "
    "area, the drawn size, the outer edge of product. The last stands marked and without interval, and "
    "enters a specimen's figures only where it has no better one.",
    "Mean penetration is the distance by which the original outline, moved evenly inwards, holds the "
    "remaining metal area: exact for the shape, not area over perimeter. Local penetration is the distance "
    "from the original outline along its normal; stretches where the normal meets no metal are hatched. "
    "Local pitting factor: greatest over mean penetration.",
    "Remaining section of a specimen: summed metal over summed original area. Its interval holds where the "
    "outline runs (0.4 to 0.6 of the step), the original area and the scale where it does not cancel, all "
    "common to the sections, and from several sections the t-interval between them. Mean penetration "
    "likewise, weighted by original perimeter.",
    "Least ligament: the shortest straight cut through the largest piece that leaves a quarter of its area "
    "or more on either side.",
)

CAUTIONS = (
    "Cutting, mounting, grinding and polishing: resin and hardener irritate and sensitise, metal dust of "
    "magnesium and its alloys burns and must not be put out with water, and water-based polishing attacks "
    "reactive metal. Extract the dust, wear gloves, follow local codes.",
    "Etchants for metal hold strong acids, some hydrofluoric or picric acid: only by those trained for them, "
    "in a fume cupboard, under the local code, with the waste collected.",
)

_MOST_SAID = 4
"""Sections of one picture that its caption tells of one by one."""


def least_left_sentence(groups: Sequence[GroupSummary]) -> list[str]:
    """The group with the least metal left, and its baseline beside it."""
    name, depth = "remaining_section_fraction", "section_penetration_um"
    known = [g for g in groups if g.means[name].n]
    if not known:
        return []
    least = min(known, key=lambda g: g.means[name].value)
    text = f"Least metal is left in “{least.name}”: {group_estimate(least, name)}"
    control = next((g for g in known if g.name == least.baseline), None)
    if control:
        text += f", against {group_estimate(control, name)} in its baseline “{control.name}”"
    difference = least.differences.get(depth)
    if difference and not math.isnan(difference.value):
        number = round_to_interval(difference.value, *(difference.ci95 or (math.nan, math.nan)))
        sure = number.interval if number.has_interval else f"no interval: {difference.refused}"
        text += f"; mean penetration less that baseline {number.value}\u00a0µm ({sure})"
    return [f"{text}."]


def section_sentences(records: Sequence[FieldRecord]) -> list[str]:
    """The greatest penetration, and how many sections are compared with the outer edge of product."""
    with_loss = [s for s in sections_of(of_kind(records, "section")) if s.is_measured]
    deep = [s for s in with_loss if not math.isnan(s.figure("max_penetration_um"))]
    out = []
    if deep:
        top = max(deep, key=lambda s: s.figure("max_penetration_um"))
        value, interval = greatest_words(
            top.figure("max_penetration_um"), *top.interval("max_penetration_um")
        )
        sure = f" (95 % interval {interval})" if interval else ""
        text = f"Greatest penetration: {value}\u00a0µm{sure}, on {top.record.image_id}"
        text += f" ({top.record.specimen.id})" + (
            ", a worst-seen picture" if not top.record.enters_means else ""
        )
        out.append(text + ".")
    doubtful = sum(s.original == FALLBACK for s in with_loss)
    if doubtful:
        out.append(
            f"{doubtful} of {count(len(with_loss), 'section')} are compared with the outer edge of product, "
            "which is rough, and stand marked (§)."
        )
    return out


def section_caption(record: FieldRecord, scale_words: str) -> str:
    """What a picture shows, how it was taken, and what is left on each of its sections."""
    sentences = [taken_sentence(record)]
    found = sections_of([record])
    if not found:
        sentences.append("No section found.")
    if len(found) > _MOST_SAID:
        sentences += _together(found)
    for section in found if len(found) <= _MOST_SAID else ():
        before = f"Section {section.number}: " if len(found) > 1 else ""
        said = section_sentence(section)
        sentences.append(before + (said if not before else said[0].lower() + said[1:]))
    angle = record.figure("section", "cut_angle_deg")
    if found and math.isnan(angle):
        sentences.append("Angle of the cut not stated; taken as square.")
    elif found:
        sentences.append(f"Oblique cut of {significant(angle)}° corrected.")
    if scale_words:
        sentences.append(scale_words[0].upper() + scale_words[1:] + ".")
    return " ".join(sentences)


def _together(found: Sequence[Section]) -> list[str]:
    """What is left of many sections, from least to most; each by itself stands in the table."""
    measured = [s for s in found if s.is_measured]
    sentences = [f"{len(found)} sections, each in the table of sections."]
    if not measured:
        return sentences
    left = [100 * s.figure("remaining_fraction") for s in measured]
    sentences.append(
        f"{significant(min(left))} to {significant(max(left))}\u00a0% of the original is left; original "
        f"outlines {sources_counted(measured)}."
    )
    deep = [s for s in measured if not math.isnan(s.figure("max_penetration_px"))]
    if deep:
        top = max(deep, key=lambda s: s.figure("max_penetration_px"))
        sentences.append(f"Greatest penetration {_length(top, 'max_penetration')}, on section {top.number}.")
    islands = round(sum(s.figure("island_count") for s in found))
    sentences.append(f"{count(islands, 'island') if islands else 'No island'} in all.")
    return sentences


def section_sentence(section: Section) -> str:
    """What is left of one section, against what, how deep attack went, and how many islands there are."""
    if section.crosses:
        return _crossing_sentence(section)
    if section.exceeds_original:
        share = section.figure("metal_area_px") / section.figure("original_area_px")
        return (
            f"{significant(100 * share)}\u00a0% of the metal that {ORIGINALS[section.original]} gives, "
            "beyond the interval: no loss can be told. Check scale and size."
        )
    if not section.is_measured:
        return "Cut by the frame: no area and no loss."
    number = round_to_interval(
        section.figure("remaining_fraction"), *section.interval("remaining_fraction"), scale=100
    )
    sure = f" ({number.interval})" if number.has_interval else " (no interval)"
    origin = ORIGINALS[section.original]
    rough = ", which swells and spalls" if section.original == FALLBACK else ""
    parts = [f"{number.value}\u00a0% of the section is left{sure}; original outline from {origin}{rough}."]
    mean, greatest = _length(section, "mean_penetration"), _length(section, "max_penetration")
    if mean and greatest:
        text = f"Mean penetration {mean}, greatest {greatest}"
        factor = section.figure("local_pitting_factor")
        text += "" if math.isnan(factor) else f", local pitting factor {significant(factor, 2)}"
        parts.append(text + ".")
    ligament = _length(section, "least_ligament")
    text = f"Least ligament {ligament}; {pieces(section)}." if ligament else f"{pieces(section)}."
    parts.append(text[0].upper() + text[1:])
    return " ".join(parts)


def section_alt(record: FieldRecord) -> str:
    """Text that stands for a picture."""
    found = sections_of([record])
    left = [s.figure("remaining_fraction") for s in found if s.is_measured]
    text = f"Cross-section {record.image_id}: {count(len(found), 'section')}"
    if len(left) > _MOST_SAID:
        text += f", {significant(100 * min(left))} to {significant(100 * max(left))} % of the original left"
    elif left:
        text += f", {' and '.join(f'{significant(100 * v)} %' for v in left)} of the original left"
    return text + "; original and remaining outline drawn"


def _crossing_sentence(section: Section) -> str:
    thickness = _length(section, "mean_thickness")
    text = f"Crosses the picture: mean thickness {thickness}, least {_length(section, 'least_ligament')}."
    penetration, share = _length(section, "mean_penetration"), thickness_share(section)
    if penetration and not math.isnan(share):
        text += (
            f" {significant(100 * share)}\u00a0% of the thickness is left, against "
            f"{ORIGINALS[section.original]}: a penetration of {penetration} on each face."
        )
    return text


def _length(section: Section, name: str) -> str:
    """A length with its interval and unit; empty where there is none."""
    value, interval = section.length_words(name)
    if value == NO_VALUE:
        return ""
    return f"{value}\u00a0{section.unit_word}" + (f" ({interval})" if interval else "")
