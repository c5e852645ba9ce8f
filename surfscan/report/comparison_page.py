"""What the page says across methods: rates side by side, whether they agree, and how local the loss is."""

from __future__ import annotations

from collections.abc import Sequence

from surfscan.comparison.blending import BLEND_RULE
from surfscan.report import comparison_grids as grids
from surfscan.report.page_parts import OnPage, PageContent, Part
from surfscan.report.pooling import count
from surfscan.report.study_comparison import StudyComparison
from surfscan.report.summary_rates import group_rows, rates_drawing

METHOD = (
    "Rates side by side: depth lost by struts and sections over the hours of exposure; pit volume over the "
    "area mapped, a lower bound unless the original level is known; mass, gas and acid over the wetted "
    "surface at the start. Where a part altered by its measurement has no rate of its own, that of its twin "
    "or of the others of its group stands in its place, and is said to.",
    "Agreement: normalised error E_n = difference over the root of the sum of squares of both expanded "
    "uncertainties, less what they share; different specimens add the scatter between specimens. Rates over "
    "the starting area are turned into penetration of the drawn section before they stand beside widths and "
    "sections, for the surface of a thin part shrinks as it corrodes.",
    BLEND_RULE,
)
CAUTION = (
    "Agreement of two methods says that their intervals allow one true value, not that it is right: what "
    "both miss, neither shows."
)


def comparison_page(content: PageContent) -> OnPage | None:
    """All that the page says of rates side by side; None where no specimen has one."""
    from markupsafe import Markup

    found = content.comparison
    if found is None or not any(s.rates for s in found.specimens):
        return None
    drawn = []
    for group in content.groups:
        drawing = rates_drawing(group_rows(group.name, found.specimens), f"group {group.name}")
        if drawing:
            drawn.append((group.name, Markup(drawing)))
    compared = [s for s in found.specimens if s.agreements]
    shown = {
        "charts": drawn,
        "agreement": grids.agreement_grid(compared) if compared else None,
        "blend": grids.blend_grid(found.specimens),
        "rule": BLEND_RULE,
        "locality": grids.locality_grid(found.specimens),
        "locality_notes": pitting_factor_notes(found),
        "missing": missing_lines(found),
        "long": sum(len(s.agreements) for s in compared) > 40,
    }
    return OnPage(
        "Rates side by side",
        "agreement of methods",
        agreement_sentences(found),
        [Part("side-by-side", "Rates side by side", "parts/comparison.html.j2", shown)],
        None,
        [],
        METHOD,
        cautions=[CAUTION],
    )


def agreement_sentences(found: StudyComparison) -> list[str]:
    """How many pairs of like measurands agree, and which do not, for the summary."""
    judged = [(s, pair) for s in found.specimens for pair in s.agreements if pair.agree is not None]
    if not judged:
        return ["No two methods measure the same thing over the same time: no agreement can be judged."]
    apart = [(s, pair) for s, pair in judged if pair.agree is False]
    lines = [f"{len(judged) - len(apart)} of {count(len(judged), 'pair')} of like measurands agree (E_n)."]
    by_methods: dict[tuple[str, str], list[str]] = {}
    for own, pair in apart:
        by_methods.setdefault((pair.first.method, pair.second.method), []).append(own.specimen)
    for (first, second), names in by_methods.items():
        reason = next(
            (
                pair.reasons[0].text
                for _, pair in apart
                if (pair.first.method, pair.second.method) == (first, second) and pair.reasons
            ),
            "",
        )
        said = f"{first[0].upper()}{first[1:]} and {second} do not agree on {', '.join(names[:4])}"
        said += f" and {len(names) - 4} more" if len(names) > 4 else ""
        lines.append(f"{said}. {'A known reason: ' + reason if reason else 'No known reason applies.'}")
    return lines


def pitting_factor_notes(found: StudyComparison) -> list[str]:
    """Why specimens with pits to speak of have no pitting factor, those of one reason together."""
    by_reason: dict[str, list[str]] = {}
    for own in found.specimens:
        if own.pitting_factor.refused and own.share_in_pits.value is not None:
            by_reason.setdefault(own.pitting_factor.refused, []).append(own.specimen)
    return [f"No pitting factor of {_first(names)}: {reason}." for reason, names in by_reason.items()]


def missing_lines(found: StudyComparison) -> list[str]:
    """What keeps rates from standing side by side, in words."""
    exposed = [s for s in found.specimens if s.summary.specimen.exposure_h != 0]
    bare = [s.specimen for s in exposed if not s.known]
    single = [s.specimen for s in exposed if len({rate.method for rate in s.known}) == 1]
    lines = []
    for names, said in (
        (bare, "without any rate: no weighing, gas, log, sweep, strut, section or height map gives one"),
        (single, "with a rate by one method only: nothing to compare it with"),
    ):
        if names:
            lines.append(f"{count(len(names), 'exposed specimen')} {said} ({_first(names)}).")
    kinds = {rate.kind for s in found.specimens for rate in s.known}
    if kinds == {"average"}:
        lines.append("No sweep gives a rate: averages are compared with no electrochemical rate.")
    if kinds == {"instant"}:
        lines.append("Only sweeps give rates: nothing tells how far they speak for the whole exposure.")
    return lines


def _first(names: Sequence[str], most: int = 6) -> str:
    """The first few names, and how many more there are."""
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")
