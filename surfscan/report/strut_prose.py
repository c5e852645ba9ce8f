"""Sentences of the page about struts."""

from __future__ import annotations

import math
from collections.abc import Sequence

from surfscan.report.pooling import count
from surfscan.report.prose import taken_sentence
from surfscan.report.records import FieldRecord, of_kind
from surfscan.report.rounding import at_most, round_to_interval, significant
from surfscan.report.strut_records import (
    DRAWN,
    counted_length_um,
    is_upper_bound,
    lost_metal,
    section_basis,
)

NOT_MEASURED = (
    "Thickness of struts: a silhouette shows width only. Without a side view or a height map the section "
    "is worked out from the thickness as drawn and is an upper bound (≤); the estimate with equal loss "
    "all round stands beside it.",
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
    "Mean width of a specimen: over pictures by counted length; the t-interval between pictures is added "
    "in quadrature to what the pictures share: their own intervals are averaged, not reduced, and so is "
    "the scale of pictures whose scale has one origin. One picture: its own interval.",
    "Loss of width: 1 less mean width over the width before at the same places or, without a picture "
    "before, as drawn. Penetration is half of the width lost: the loss on one side if both lost alike.",
    "Section: from width and thickness for the drawn shape. With a drawn thickness it is an upper bound "
    "and a mean with one in it gets no interval; the estimate with equal loss on all sides of the section "
    "takes the lost thickness from the lost width. Where only some thicknesses of a specimen were "
    "measured, its least section is an upper bound too.",
    "Lost metal: what is gone against a picture before (missing struts), or between ends that face each "
    "other (gaps), counts as zero width. Loss stands with it and without it (survivors). Least width and "
    "least section are those of metal that still stands.",
    "Nothing is subtracted from widths; loss already compares each strut with its own reference.",
)


def strut_sentences(records: Sequence[FieldRecord]) -> list[str]:
    """How many pictures of struts there are, the least section of all, and what is broken."""
    shown = of_kind(records, "strut")
    if not shown:
        return []
    done = sum(r.status("struts") == "done" for r in shown)
    worst = sum(not r.enters_means for r in shown)
    out = [
        f"{done} of {count(len(shown), 'picture')} of struts measured"
        + (f"; {worst} worst-seen, shown but in no mean." if worst else ".")
    ]
    with_section = [r for r in shown if not math.isnan(r.figure("struts", "least_section_fraction"))]
    if with_section:
        least = min(
            with_section,
            key=lambda r: (
                r.figure("struts", "least_section_equal_loss_fraction")
                if is_upper_bound(r)
                else r.figure("struts", "least_section_fraction")
            ),
        )
        where = f"on {least.image_id} ({least.specimen.id})"
        where += "" if least.enters_means else ", a worst-seen picture"
        out.append(f"The least section is left {where}: {_section(least)}.")
    else:
        with_width = [r for r in shown if not math.isnan(r.figure("struts", "min_width_um"))]
        if with_width:
            least = min(with_width, key=lambda r: r.figure("struts", "min_width_um"))
            width = _estimate(least, "min_width_um", "\u00a0µm")
            out.append(f"The least width seen is {width}, on {least.image_id} ({least.specimen.id}).")
    broken = sum(v for r in shown if (v := r.figure("struts", "broken_count")) > 0)
    missing = sum(v for r in shown if (v := r.figure("struts", "missing_count")) > 0)
    if broken or missing:
        on = sum(
            r.figure("struts", "broken_count") > 0 or r.figure("struts", "missing_count") > 0 for r in shown
        )
        said = [f"broken: {broken:.0f}"] if broken else []
        said += [f"missing: {missing:.0f}"] if missing else []
        out.append(
            f"Struts {', '.join(said)}, on {count(on, 'picture')}; widths and sections are those of metal "
            "that still stands, and loss stands with and without what is gone."
        )
    return out


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
    if loss:
        against = {"drawn": "the width as drawn", "before": "the picture before"}
        sentences.append(
            f"Loss of width {loss} against "
            f"{against.get(record.text('struts', 'loss_against'), 'widths before and as drawn')}."
        )
    section = _section(record)
    if section:
        which = record.figure("struts", "least_section_strut")
        where = f" (strut {which:.0f})" if n > 1 and not math.isnan(which) else ""
        sentences.append(f"Least section{where}: {section}.")
    faults = faults_words(record)
    if faults:
        sentences.append(f"{faults[0].upper()}{faults[1:]}.")
    sentences += _lost_sentence(record)
    return sentences


def _lost_sentence(record: FieldRecord) -> list[str]:
    lost = lost_metal(record)
    if not lost.length_fraction > 0:
        return []
    text = f"Of the length {significant(100 * lost.length_fraction, 2)}\u00a0% is gone"
    if not math.isnan(lost.with_lost):
        text += (
            f": loss of width {significant(100 * lost.with_lost)}\u00a0% with it as zero width, "
            f"{significant(100 * lost.of_survivors)}\u00a0% over what still stands"
        )
    return [text + "."]


def _section(record: FieldRecord) -> str:
    """The least section with its basis and the estimate with equal loss; empty where there is none."""
    value = record.figure("struts", "least_section_fraction")
    if math.isnan(value):
        return ""
    equal = _estimate(record, "least_section_equal_loss_fraction", "\u00a0%", 100.0)
    if section_basis(record) == DRAWN:
        number = round_to_interval(value, *record.interval("struts", "least_section_fraction"), scale=100)
        bound = at_most(number.value, True)
        return f"{bound}\u00a0% with the thickness as drawn, {equal} with equal loss all round"
    measured = _estimate(record, "least_section_fraction", "\u00a0%", 100.0)
    thickness = significant(record.figure("struts", "thickness_um"))
    return f"{measured} with a measured thickness of {thickness}\u00a0µm, {equal} with equal loss all round"


def _estimate(record: FieldRecord, name: str, unit: str, scale: float = 1.0) -> str:
    value = record.figure("struts", name)
    if math.isnan(value):
        return ""
    number = round_to_interval(value, *record.interval("struts", name), scale=scale)
    return f"{number.value}{unit}" + (f" ({number.interval})" if number.has_interval else "")
