"""Sentences of the page about struts."""

from __future__ import annotations

import math
from collections.abc import Sequence

from surfscan.report.pooling import SpecimenSummary, count
from surfscan.report.prose import taken_sentence
from surfscan.report.records import FieldRecord, of_kind
from surfscan.report.rounding import round_to_interval, significant
from surfscan.report.strut_records import (
    EQUAL_LOSS,
    MEASURED_THICKNESS,
    counted_length_um,
    exceeds_reference,
    excess_words,
    least_section,
    lost_metal,
)

NBSP = "\u00a0"

NOT_MEASURED = (
    "Thickness of struts: a silhouette shows width only. Without a side view or a height map the section "
    "left is an estimate with equal loss all round; with the thickness as drawn it is an upper bound (≤).",
    "Attack on the faces that look at the camera, undercut, and pits that do not go through.",
    "Struts out of focus, and product as dark as the metal: both make edges look further apart than the "
    "metal is. Pictures of cleaned parts show metal alone.",
    "Widths at junctions: the fillets there are left out.",
)

METHOD = (
    "Struts: silhouette, centreline graph, stations along each strut; at each both edges at half level "
    "between metal and background along the local normal, to a fraction of a pixel. Width is the distance "
    "across the normal, less through-pits. Stations in the circle inscribed at a junction or its fillet, "
    "at rounded free ends and at the frame do not count.",
    "Mean width of a picture: over struts by counted length; levels, declared edge uncertainty and scale "
    "are common to all struts of a picture and do not average out. Least width: least station, its "
    "interval allows for noise that draws the least of many down and for blur that fills notches.",
    "Mean width of a specimen: over pictures by counted length; the t-interval between pictures is "
    "combined by effective degrees of freedom (JCGM 100, G.4.1), no narrower than either, with what they "
    "share: their own intervals are averaged, not reduced, and so is the scale of pictures whose scale has "
    "one origin. One picture: its own interval.",
    "Loss of width: 1 less mean width over the width before at the same places or, without a picture "
    "before, as drawn. Penetration is half of the width lost: the loss on one side if both lost alike.",
    "Section: from width and thickness for the drawn shape. Least section left: with the measured thickness "
    "where there is one; else estimated with equal loss all round, which takes the lost thickness from the "
    "lost width. Width and drawn thickness alone give an upper bound (≤), which stands beside it and enters "
    "no mean here.",
    "Lost metal: what is gone against a picture before (missing struts), or between ends that face each "
    "other (gaps), counts as zero width. Loss stands with it and without it (survivors). Least width and "
    "least section are those of metal that still stands.",
    "Nothing is subtracted from widths and sections; the baseline group's loss and penetration, which hold "
    "what drawn size and scale are off by, are.",
)


def least_sentence(records: Sequence[FieldRecord]) -> list[str]:
    """The least section left of all pictures and what it rests on; without sections the least width."""
    shown = of_kind(records, "strut")
    told = [r for r in shown if least_section(r).basis]
    if told:
        least = min(told, key=lambda r: least_section(r).value)
        return [f"Least section left: {_left(least, '95 % interval ')}, {_where(least)}; {_basis(least)}."]
    with_width = [r for r in shown if not math.isnan(r.figure("struts", "min_width_um"))]
    if not with_width:
        return []
    least = min(with_width, key=lambda r: r.figure("struts", "min_width_um"))
    return [f"Least width seen: {_estimate(least, 'min_width_um', NBSP + 'µm')}, {_where(least)}."]


def lost_metal_sentence(specimens: Sequence[SpecimenSummary]) -> list[str]:
    """What is broken or missing, and what that does to the loss of the specimen that lost most."""
    rows = [row for s in specimens if (row := s.by_kind["strut"].row)]
    broken, missing = (
        sum(v for r in rows if (v := r[f"{what}_count"]) > 0) for what in ("broken", "missing")
    )
    if not broken and not missing:
        return []
    said = [f"{n:.0f} {what}" for n, what in ((broken, "broken"), (missing, "missing")) if n]
    on = [r["specimen"] for r in rows if r["broken_count"] > 0 or r["missing_count"] > 0]
    text = f"Struts lost: {', '.join(said)}, on {', '.join(on)}"
    known = [
        r for r in rows if r["lost_length_fraction"] > 0 and not math.isnan(r["loss_with_lost_fraction"])
    ]
    if known:
        most = max(known, key=lambda r: r["loss_with_lost_fraction"])
        text += (
            f": with lost metal as zero width the loss of {most['specimen']} is "
            f"{significant(100 * most['loss_with_lost_fraction'])}{NBSP}%, against "
            f"{significant(100 * most['loss_of_survivors_fraction'])}{NBSP}% over what still stands"
        )
    return [f"{text}; the least section is that of metal that still stands."]


def strut_caption(record: FieldRecord, scale_words: str) -> str:
    """What a picture of struts shows, how it was taken and what was found on it."""
    sentences = [taken_sentence(record)]
    if record.done("struts"):
        sentences += _found(record)
    if scale_words:
        sentences.append(scale_words[0].upper() + scale_words[1:] + ".")
    return " ".join(sentences)


def strut_alt(record: FieldRecord) -> str:
    """Text that stands for a picture of struts."""
    n = round(record.figure("struts", "strut_count"))
    width = _estimate(record, "min_width_um", "\u00a0µm") or _estimate(record, "min_width_px", "\u00a0px")
    text = f"Picture {record.image_id} with {count(n, 'strut')}, remaining width in colour"
    return text + (f", least width {width} marked" if width else "")


def faults_words(record: FieldRecord) -> str:
    """What is broken on a picture, in words; empty where nothing is."""
    named = (
        ("broken_count", "broken"),
        ("missing_count", "missing"),
        ("through_pitted_count", "through-pitted"),
        ("crack_count", "cracks"),
        ("gap_count", "gaps"),
        ("fragment_count", "fragments"),
    )
    found = [(word, record.figure("struts", name)) for name, word in named]
    return ", ".join(f"{word} {n:.0f}" for word, n in found if n > 0)


def _found(record: FieldRecord) -> list[str]:
    n = round(record.figure("struts", "strut_count"))
    if n == 0:
        return ["No strut was found."]
    unit, word = ("um", "\u00a0µm")
    if math.isnan(record.figure("struts", "mean_width_um")):
        unit, word = ("px", "\u00a0px")
    stations = int((record.table("stations")["fault"] == "").sum())
    text = count(n, "strut")
    if unit == "um":
        text += f", {significant(counted_length_um(record) / 1000)}\u00a0mm counted"
    sentences = [f"{text} ({count(stations, 'station')})."]
    mean, least = (_estimate(record, f"{w}_width_{unit}", word) for w in ("mean", "min"))
    if mean and least:
        which = record.figure("struts", "min_width_strut")
        where = f", strut {which:.0f}" if n > 1 and not math.isnan(which) else ""
        sentences.append(f"Mean width {mean}; least {least}{where}.")
    loss = _estimate(record, "loss_fraction", "\u00a0%", 100.0)
    if exceeds_reference(record):
        said = excess_words(record)
        sentences.append(
            f"{said[0].upper()}{said[1:]}, beyond the interval: no loss and no section can be told."
        )
    elif loss:
        against = {"drawn": "the width as drawn", "before": "the picture before"}
        sentences.append(
            f"Loss of width {loss} against "
            f"{against.get(record.text('struts', 'loss_against'), 'widths before and as drawn')}."
        )
    if least_section(record).basis:
        which = record.figure("struts", "least_section_strut")
        where = f" (strut {which:.0f})" if n > 1 and not math.isnan(which) else ""
        basis = "thickness measured"
        if least_section(record).basis == EQUAL_LOSS:
            basis = f"{EQUAL_LOSS}; {_bound(record).replace('at most (≤)', '≤')}"
        sentences.append(f"Least section left{where}: {_left(record)}, {basis}.")
    faults = faults_words(record)
    if faults:
        sentences.append(f"{faults[0].upper()}{faults[1:]}.")
    sentences += _lost_sentence(record)
    return sentences


def _lost_sentence(record: FieldRecord) -> list[str]:
    lost = lost_metal(record)
    if exceeds_reference(record):
        return []
    if not lost.length_fraction > 0:
        return []
    text = f"Of the length {significant(100 * lost.length_fraction, 2)}\u00a0% is gone"
    if not math.isnan(lost.with_lost):
        text += (
            f": loss of width {significant(100 * lost.with_lost)}\u00a0% with it as zero width, "
            f"{significant(100 * lost.of_survivors)}\u00a0% over what still stands"
        )
    return [text + "."]


def _left(record: FieldRecord, interval: str = "") -> str:
    """The least section left with its interval."""
    left = least_section(record)
    if left.high == 0:
        return f"none (0{NBSP}%)"
    number = round_to_interval(left.value, left.low, left.high, scale=100)
    return f"{number.value}{NBSP}%" + (f" ({interval}{number.interval})" if number.has_interval else "")


def _basis(record: FieldRecord) -> str:
    """What the least section left rests on, and the upper bound beside it."""
    if least_section(record).basis == MEASURED_THICKNESS:
        return f"with a measured thickness of {significant(record.figure('struts', 'thickness_um'))}{NBSP}µm"
    return f"estimated from the width with {EQUAL_LOSS}, {_bound(record)} with the thickness as drawn"


def _bound(record: FieldRecord) -> str:
    value = record.figure("struts", "least_section_fraction")
    number = round_to_interval(value, *record.interval("struts", "least_section_fraction"), scale=100)
    return f"at most (≤) {number.value}{NBSP}%"


def _where(record: FieldRecord) -> str:
    where = f"on {record.image_id} ({record.specimen.id})"
    return where if record.enters_means else f"{where}, a worst-seen picture"


def _estimate(record: FieldRecord, name: str, unit: str, scale: float = 1.0) -> str:
    value = record.figure("struts", name)
    if math.isnan(value):
        return ""
    number = round_to_interval(value, *record.interval("struts", name), scale=scale)
    return f"{number.value}{unit}" + (f" ({number.interval})" if number.has_interval else "")
