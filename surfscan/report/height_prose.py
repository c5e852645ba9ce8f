"""Sentences of the page about height maps."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from surfscan.report.height_pictures import deepest_pit
from surfscan.report.height_specimens import PRESENT_SURFACE
from surfscan.report.pooling import count
from surfscan.report.prose import asides, taken_sentence
from surfscan.report.records import FieldRecord, of_kind
from surfscan.report.rounding import at_least, round_to_interval, significant

NOT_MEASURED = (
    "Undercut: a height map sees from above, so metal lost below an overhang is neither in the depth nor in "
    "the volume.",
    "Uniform recession: on a map without a masked datum or a registered unexposed surface nobody sees it, so "
    "losses below the present surface are lower bounds.",
    "Floors and walls that gave no signal: they are hatched, and a pit whose floor is missing is at least as "
    "deep as the figure says (≥).",
)

METHOD = (
    "Height maps: the form named in each caption is taken off by a fit that pits do not pull, spikes are set "
    "to not measured, and gaps are never filled. Pits are found by their depth below the surface around them "
    "against its roughness, and by prominence.",
    "Depth is the greatest depth below the local reference, floor roughness included. Volume is the mean "
    "measured depth times the mouth area. A pit whose floor was not measured has a depth that is a lower "
    "bound (≥): greatest depth and mean of the ten deepest of its map are lower bounds too. So is the depth "
    "of a pit that goes on beyond the frame, but not the greatest depth of the area seen. Quantiles are "
    "product-limit estimates (Kaplan & Meier) over both.",
    "Interval of the greatest depth: roughness and levelling (k = 1.96). Volume per area: summed volumes "
    "over summed areas; between-field t-interval, and for one map (or two or three alike) that of a compound "
    "Poisson sum. Group means of the greatest depth compare only where the area seen is alike; with a lower "
    "bound among them they get no interval.",
    "Nothing is subtracted from depths or roughness, for they do not add up; pit volumes do.",
    "Pictures and height maps of a specimen are never pooled: pit density stands once from each.",
    "Areal texture: ISO 25178-2, on the surface named in its table. Means over height maps with the "
    "between-field t-interval.",
    "Extreme values: maxima of equal fields (areas within 2 %) by maximum likelihood, lower bounds and "
    "fields without a pit as bounds; Gumbel unless its test at 5 % rejects it and there are enough fields "
    "for GEV; profile-likelihood intervals; return level at T = part area over field area.",
)


def height_sentences(records: Sequence[FieldRecord]) -> list[str]:
    """The deepest pit of all height maps."""
    out = []
    with_pits = [r for r in of_kind(records, "heights") if not math.isnan(r.figure("pits", "max_depth_um"))]
    if with_pits:
        top = max(
            with_pits,
            key=lambda r: (r.figure("pits", "max_depth_um"), r.flag("pits", "max_depth_is_lower_bound")),
        )
        bounds = sum(r.flag("pits", "max_depth_is_lower_bound") for r in with_pits)
        text = f"Deepest pit seen: {_depth(top, '95 % interval ')}, on {top.image_id} ({top.specimen.id})"
        text += ", a worst-seen map" if not top.enters_means else ""
        text += ", cut by the frame" if is_cut(top) else ""
        text += "." if not bounds else f"; on {count(bounds, 'map')} the greatest depth is a lower bound (≥)."
        out.append(text)
    return out


def height_caption(record: FieldRecord, scale_words: str) -> str:
    """What a height map shows, how it was made ready and what was found on it."""
    measured = record.map_figure("measured_fraction")
    spikes = record.map_figure("spike_count")
    ready = []
    if record.map_text("form_text"):
        form = re.sub(r"-(?=\d)", "−", record.map_text("form_text"))
        ready.append(f"Form taken off: {form}")
    if not math.isnan(measured):
        ready.append(f"measured {significant(100 * measured)}\u00a0%")
    if spikes > 0:
        ready.append(f"{count(round(spikes), 'spike')} set to not measured")
    sentences = [taken_sentence(record)]
    if ready:
        text = "; ".join(ready)
        sentences.append(f"{text[0].upper()}{text[1:]}.")
    if record.done("pits"):
        sentences += _pit_sentences(record)
    if record.done("texture"):
        values = [
            f"{name} {significant(record.figure('texture', key))}\u00a0µm"
            for name, key in (("Sa", "Sa_um"), ("Sq", "Sq_um"), ("Sz", "Sz_um"))
        ]
        sentences.append(f"Texture ({record.text('texture', 'surface')} surface): {', '.join(values)}.")
    if scale_words:
        sentences.append(scale_words[0].upper() + scale_words[1:] + ".")
    return " ".join(sentences)


def height_alt(record: FieldRecord) -> str:
    """Text that stands for the picture of a height map."""
    if record.done("pits") is None:
        return f"Height map {record.image_id} in colour"
    n = round(record.figure("pits", "pit_count"))
    deepest = f", the deepest {_depth(record)}" if n else ""
    return f"Height map {record.image_id} in colour with {count(n, 'pit')} outlined{deepest}"


def _pit_sentences(record: FieldRecord) -> list[str]:
    near, review = record.figure("pits", "near_limit_count"), record.figure("pits", "for_review_count")
    n = round(record.figure("pits", "pit_count"))
    bounds = record.figure("pits", "lower_bound_depth_count")
    text = count(n, "pit") + asides(near, review, bounds)
    pit = deepest_pit(record)
    if pit is not None:
        label = int(record.table("pits")["label"][pit])
        text += f"; deepest no. {label}: {_depth(record)}"
        text += ", cut by the frame" if is_cut(record) else ""
    volume = record.figure("pits", "volume_per_area_um")
    if not math.isnan(volume):
        text += f"; volume per area {significant(volume)}\u00a0µm"
    sentences = [text + "."]
    level = record.text("pits", "original_level")
    penetration = record.figure("pits", "mean_penetration_um")
    if level and level != PRESENT_SURFACE and not math.isnan(penetration):
        factor = record.figure("pits", "pitting_factor")
        said = f"Mean penetration from the original level ({level}): {significant(penetration)}\u00a0µm"
        said += "." if math.isnan(factor) else f", pitting factor {significant(factor, 2)}."
        sentences.append(said)
    return sentences


def is_cut(record: FieldRecord) -> bool:
    """Whether the deepest pit goes on beyond the frame, where it may be deeper."""
    pit = deepest_pit(record)
    if pit is None or record.flag("pits", "max_depth_is_lower_bound"):
        return False
    return bool(record.table("pits")["depth_is_lower_bound"][pit])


def _depth(record: FieldRecord, interval: str = "") -> str:
    low, high = record.interval("pits", "max_depth_um")
    number = round_to_interval(record.figure("pits", "max_depth_um"), low, high)
    value = at_least(number.value, record.flag("pits", "max_depth_is_lower_bound"))
    return f"{value}\u00a0µm" + (f" ({interval}{number.interval})" if number.has_interval else "")
