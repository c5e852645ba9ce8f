"""The study summary at the head of the page, in blocks: what was found first, how sure, from how many."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from surfscan.report.budget_blocks import uncertainty_block
from surfscan.report.by_hand_page import sentences
from surfscan.report.comparison_blocks import group_rates_block
from surfscan.report.criteria import criterion_block
from surfscan.report.height_prose import is_cut
from surfscan.report.lacking import lacking_lines
from surfscan.report.page_parts import PageContent
from surfscan.report.pooling import SpecimenSummary, count
from surfscan.report.rate_records import of_procedure
from surfscan.report.records import of_kind
from surfscan.report.rounding import at_least, round_to_interval
from surfscan.report.summary_blocks import Block, Shown, State

_MOST_NAMED = 4
_LOST = (("broken_count", "broken"), ("missing_count", "missing"), ("crack_count", "cracked"))


def summary(content: PageContent) -> list[Block]:
    """The blocks of the study summary, in the order of the page; what the study cannot tell is left out."""
    return [
        *_exposure(content),
        *_least_section(content),
        *_lost(content),
        *_deepest(content),
        *_criteria(content),
        *_rates(content),
        _extent(content),
        *_by_hand(content),
        *_dominant(content),
    ]


def exposed_groups(content: PageContent) -> list[str]:
    """Groups with a specimen that was exposed, in the study's order."""
    return [g.name for g in content.groups if any((m.specimen.exposure_h or 0) > 0 for m in g.members)]


def _exposure(content: PageContent) -> list[Block]:
    """Whether the exposures are valid by the rules stated."""
    logs = of_procedure(content.rates, "exposure")
    if not logs:
        return []
    verdicts = Counter(r.text("verdict") if r.done else "no result" for r in logs)
    bad, doubt = verdicts["exposure not valid"], verdicts["exposure valid with reservations"]
    state: State = "bad" if bad else "doubt" if doubt or verdicts["no result"] else "good"
    lines = []
    for record in logs:
        if not record.done:
            lines.append(f"{record.entry_id} ({record.specimen_names}): no result.")
        elif record.text("verdict") != "exposure valid":
            reasons = [r["text"] for r in record.value("verdict_reasons") or ()]
            more = f" and {count(len(reasons) - 1, 'more reason')}" if len(reasons) > 1 else ""
            lines.append(f"{record.entry_id} ({record.specimen_names}): {reasons[0].rstrip('.')}{more}.")
    badge = ", ".join(
        f"{n} {word.removeprefix('exposure ')}" if len(logs) > 1 else word for word, n in verdicts.items()
    )
    logged = {s.id for r in logs for s in r.specimens}
    exposed = [s.specimen.id for s in content.specimens if (s.specimen.exposure_h or 0) > 0]
    without = sum(name not in logged for name in exposed)
    if without:
        lines.append(f"{count(without, 'exposed specimen')} without a rig log: nothing tells how they fared.")
    return [
        Block(
            "Exposure",
            (),
            _first(lines, "logs"),
            badge[0].upper() + badge[1:],
            state,
            links=[("exposure", "Exposure")],
        )
    ]


def _least_section(content: PageContent) -> list[Block]:
    """The least section that remains, from pictures of struts and from cross-sections."""
    out = []
    for figure, kind, title, anchor, basis in (
        (
            "least_section_left_fraction",
            "strut",
            "Least section left of a strut",
            "struts",
            "least_section_left_basis",
        ),
        ("remaining_section_fraction", "section", "Least cross-section left", "sections", ""),
    ):
        known = [s for s in content.specimens if not math.isnan(s.figure(figure))]
        if not known:
            continue
        least = min(known, key=lambda s: s.figure(figure))
        row = least.by_kind["strut" if kind == "strut" else "section"].row
        lines = [f"On {_whose(least)}{'; ' + row[basis] if basis and row.get(basis) else ''}."]
        lines.append(f"Least of {count(len(known), 'specimen')} that could be told.")
        shown = _shown(least, figure, 100.0, "%")
        out.append(Block(title, [shown], lines, links=[(anchor, "Table")]))
    return out


def _lost(content: PageContent) -> list[Block]:
    """Struts that are broken, missing or cracked."""
    rows = [s.by_kind["strut"].row for s in content.specimens if s.by_kind["strut"].row]
    if not rows:
        return []
    headline, lines = [], []
    for name, word in _LOST:
        hit = [r for r in rows if r[name] > 0]
        total = sum(r[name] for r in hit)
        headline.append(Shown(f"{total:.0f}", after=word, value=float(total), figure=f"sum_of_{name}"))
        if hit:
            named = [f"{r['specimen']} ({r[name]:.0f})" for r in hit]
            lines.append(f"{word.capitalize()}: {', '.join(_first(named, 'specimens'))}.")
    struts = sum(r["strut_count"] for r in rows if r["strut_count"] > 0)
    lines.append(f"Of {count(round(struts), 'strut')} on pictures of {count(len(rows), 'specimen')}.")
    lost = any(s.value > 0 for s in headline)
    return [
        Block("Struts lost", headline, lines, state="bad" if lost else "good", links=[("struts", "Table")])
    ]


def _deepest(content: PageContent) -> list[Block]:
    """The deepest pit seen, whether its floor was seen, and the deepest to be expected on a whole part."""
    name, is_bound = "max_depth_um", "max_depth_is_lower_bound"
    maps = [r for r in of_kind(content.records, "heights") if not math.isnan(r.figure("pits", name))]
    if not maps:
        return []
    top = max(maps, key=lambda r: (r.figure("pits", name), r.flag("pits", is_bound)))
    value, limits = top.figure("pits", name), top.interval("pits", name)
    hidden = sum(r.flag("pits", is_bound) for r in maps)
    number = round_to_interval(value, *limits)
    text, after = at_least(number.value, hidden > 0), "µm"
    after += f" ({number.interval})" if number.has_interval and not hidden else ""
    shown = Shown(text, (), value, *limits, after=after, figure=name, whose=top.image_id)
    where = f"On {top.image_id} ({top.specimen.id})"
    where += "" if top.enters_means else ", a worst-seen map"
    top_hidden = top.flag("pits", is_bound)
    if top_hidden:
        lines = [f"{where}; part of its floor was not measured: it may be deeper (≥)."]
    elif is_cut(top):
        lines = [f"{where}; it is cut by the frame, within which its floor was measured."]
    else:
        lines = [f"{where}; its floor was measured."]
    if others := hidden - top_hidden:
        maps_named = count(others, "other map")
        lines.append(f"On {maps_named} a floor was not measured: a pit there may be deeper still (≥).")
    fitted = [e for e in content.extremes if e.result is not None and not e.specimen]
    if fitted:
        worst = max(fitted, key=lambda e: e.row["return_level_um"])
        row = worst.row
        level = round_to_interval(
            row["return_level_um"], row["return_level_um_ci95_low"], row["return_level_um_ci95_high"]
        )
        lines.append(
            f"Deepest expected on a whole part, highest in “{worst.name}”: {level.value}\u00a0µm "
            f"(95 % interval {level.interval}, from {count(row['n_blocks'], 'map')}"
            + (f"; {count(len(worst.warnings), 'caution')} there)." if worst.warnings else ").")
        )
    elif content.extremes:
        lines.append("No deepest pit of a whole part can be predicted: see Extreme values.")
    links = [("heights", "Table"), *([("extremes", "Extreme values")] if content.extremes else [])]
    return [Block("Deepest pit", [shown], lines, links=links)]


def _by_hand(content: PageContent) -> list[Block]:
    """How many images were corrected by hand, and what share of which figure came of it."""
    if not content.records:
        return []
    corrected = sum(bool(r.corrections) for r in content.records)
    number = Shown(f"{corrected} of {len(content.records)}", after="images corrected by hand")
    if content.by_hand is None:
        return [Block("By hand", [number], ["Every figure is as measured."])]
    return [Block("By hand", [number], sentences(content.by_hand), links=[("by-hand", "Corrected by hand")])]


def _criteria(content: PageContent) -> list[Block]:
    """How the criteria of the study came out."""
    return [] if content.comparison is None else criterion_block(content.comparison.judged)


def _dominant(content: PageContent) -> list[Block]:
    """What dominates the uncertainty of the figures of exposed groups."""
    if content.comparison is None:
        return []
    return uncertainty_block(content.comparison.budgets, exposed_groups(content))


def _rates(content: PageContent) -> list[Block]:
    """Rates of the groups that were exposed on one axis, averages apart from moments."""
    if content.comparison is None:
        return []
    return group_rates_block(content.comparison, exposed_groups(content))


def _extent(content: PageContent) -> Block:
    """How many specimens, groups and images there are, and what is lacking."""
    records, specimens = content.records, content.specimens
    done = sum(all(r.status(p) == "done" for p in r.image.procedures) for r in records)
    lines = [f"In {count(len(content.groups), 'group')}."]
    small = [g.name for g in content.groups if len(g.members) < 3]
    if small:
        lines.append(
            f"{count(len(small), 'group')} below three specimens, shown as points only: "
            f"{', '.join(_first(small, 'groups'))}."
        )
    if records:
        lines.append(f"{done} of {count(len(records), 'image')} measured in full.")
    if content.rates:
        got = sum(r.done is not None for r in content.rates)
        lines.append(f"{got} of {len(content.rates)} sweeps, weighings, gas series and logs measured.")
    lines += lacking_lines(content)
    lacking = done < len(records) or any(r.done is None for r in content.rates)
    links = [("specimens", "Table of specimens"), *([("not-measured", "Not measured")] if lacking else [])]
    number = Shown(str(len(specimens)), after="specimen" if len(specimens) == 1 else "specimens")
    return Block("How many", [number], lines, links=links)


def _shown(summary: SpecimenSummary, figure: str, scale: float, unit: str) -> Shown:
    """A figure of a specimen with its interval."""
    value, limits = summary.figure(figure), summary.limits(figure)
    number = round_to_interval(value, *limits, scale=scale)
    after = f"{unit} ({number.interval})" if number.has_interval else f"{unit} (no interval)"
    return Shown(number.value, (), value, *limits, after=after, figure=figure, whose=summary.specimen.id)


def _whose(summary: SpecimenSummary) -> str:
    return f"{summary.specimen.id} ({summary.specimen.group})"


def _first(lines: Sequence[str], what: str) -> list[str]:
    """The first few, and how many more there are."""
    more = len(lines) - _MOST_NAMED
    return [*lines[:_MOST_NAMED], *([f"and {more} more {what}"] if more > 0 else [])]
