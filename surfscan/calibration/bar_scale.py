"""Scale of a picture from its scale bar: which label belongs to which bar, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from surfscan.calibration.bars import Bar, Box, find_bars
from surfscan.calibration.label_evidence import TiedLabel, tied_labels
from surfscan.calibration.label_reading import why_unreadable
from surfscan.calibration.labels import Label, is_round, label_step_um
from surfscan.calibration.levels import as_bytes
from surfscan.calibration.metadata import LARGEST_PIXEL_UM, SMALLEST_PIXEL_UM
from surfscan.calibration.surroundings import box_behind
from surfscan.calibration.uncertainty import ScaleUncertainty, bar_uncertainty, tick_doubt_px
from surfscan.columns import Table, conform, empty_table
from surfscan.images import Calibration

ACCEPTED_FROM = 0.75
"""A reading becomes the scale from this confidence on. Chosen on drawn bars so that no wrong one is taken."""

READ_FROM = 0.6
"""Bars of less evidence are not worth the time of character recognition while a picture is opened."""

SMALLEST_SIDE_PX = 48
"""No bar is looked for on a smaller picture: it has no room for one with its label."""

_READ_AT_MOST = 3  # bars whose surroundings are read
_CONTESTED = 0.6  # of its fit to one bar, from which a label may as well belong to another
_FAINTER = 0.7  # of its evidence up to which another bar is texture beside a clear one, and contests nothing
_LONGER = 0.01  # relative difference in length of two such bars that matters
_UNLIKE = 0.03  # relative difference of two scales of one picture that is a disagreement
_CONTRADICTED, _SECOND = (
    0.5,
    0.92,
)  # what is left of the confidence then, and beside another bar without label
_USUAL_PIXELS_UM = (1e-4, 60.0)  # pixel sizes of electron and light microscopes; others halve the fit
_TICKS_IN_DOUBT = (0.01, 0.6)  # relative standard uncertainty from what part of its ticks a bar counts from
# which it is not taken, and what is left of the confidence then
_GIVEN_ALONE = 0.95  # fit of a label that was given and could not be read
_PLAIN_BAR = 0.8  # a bar without label is left out of the field from this evidence on
_MARGIN_PX = 3


@dataclass(frozen=True)
class BarReading:
    """One bar with what is known of its label.

    Attributes
    ----------
    bar : Bar
    label : Label or None
        None where no label was read or given.
    label_box : Box or None
        Where the label stands in the picture.
    label_evidence : float
        0 to 1: how sure the label is; 1 for one that was given.
    fit : float
        0 to 1: how well label and bar go together, by position, by the roundness of the number and by the
        pixel size that follows.
    confidence : float
        0 to 1: evidence of the bar, of the label and their fit multiplied, lowered by contradictions.
    accepted : bool
    uncertainty : ScaleUncertainty or None
    read_otherwise : str
        What the label clearly reads where one was given that says otherwise; else empty.
    """

    bar: Bar
    label: Label | None = None
    label_box: Box | None = None
    label_evidence: float = 0.0
    fit: float = 0.0
    confidence: float = 0.0
    accepted: bool = False
    uncertainty: ScaleUncertainty | None = None
    read_otherwise: str = ""

    @property
    def pixel_size_um(self) -> float:
        """µm; not-a-number without a label."""
        return self.label.length_um / self.bar.length_px if self.label else float("nan")


@dataclass(frozen=True)
class ScaleReading:
    """What the scale bars of a picture say.

    Attributes
    ----------
    readings : tuple of BarReading
        The one to go by first.
    warnings : tuple of str
        What is doubtful, and what to do.
    contradiction : str
        What a bar that is read with certainty says against the pixel size given otherwise; empty where it
        agrees or nothing is given.
    calibration : Calibration or None
        From the first reading where it is accepted.
    overlays : tuple of Box
        (row0, row1, col0, col1), ends excluded, of what was drawn over the picture: bars, their labels and
        the boxes behind them.
    """

    readings: tuple[BarReading, ...]
    warnings: tuple[str, ...]
    contradiction: str
    calibration: Calibration | None
    overlays: tuple[Box, ...]

    @property
    def bars(self) -> Table:
        """Table "bars" of `surfscan.columns`, one row a bar."""
        if not self.readings:
            return empty_table("bars")
        rows = [_row(reading) for reading in self.readings]
        return conform("bars", {name: np.array([row[name] for row in rows]) for name in rows[0]})


def read_scale(
    pixels: np.ndarray,
    *,
    label: Label | None = None,
    metadata_um: float | None = None,
    certificate_relative_uncertainty: float | None = None,
    accepted_from: float = ACCEPTED_FROM,
    only_contradiction: bool = False,
    read_from: float = READ_FROM,
) -> ScaleReading:
    """Find the scale bars of a picture, read their labels and decide whether one gives the scale.

    Parameters
    ----------
    pixels : ndarray of shape (M, N) or (M, N, 3)
    label : Label, optional
        What the bar is said to be long; it is not read then, but what is read must not contradict it.
    metadata_um : float, optional
        Pixel size along x that the file gives or the user states: a disagreement lowers the confidence.
    certificate_relative_uncertainty : float, optional
        Relative standard uncertainty of the instrument's scale; a declared allowance where not given.
    accepted_from : float
        Smallest confidence that is taken without a person having looked.
    only_contradiction : bool
        Only whether a bar contradicts `metadata_um` matters, and where bars lie: a label that agrees at first
        sight is not read again, which takes a third of the time, and its confidence is lower for that.
    read_from : float
        Bars of less evidence are passed over, unless `label` is given.

    Returns
    -------
    ScaleReading

    Notes
    -----
    Confidence is the product of three parts, each 0 to 1: the bar's own evidence, the label's (how many
    renderings agree, how well they were recognised, whether any reads otherwise) and their fit (distance of
    the label from the bar, a number such as bars have, a pixel size such as microscopes have; ticks so wide
    that what part of them counts makes 1 % or more of standard uncertainty). Two bars that
    give scales more than 3 % apart, two labels at one bar, or metadata that say otherwise halve it; another
    bar without a label lowers it a little. Limits are common practice, no source, set on drawn bars.
    """
    large = min(pixels.shape[:2]) >= SMALLEST_SIDE_PX
    found = find_bars(pixels, under_text=True) if large else []
    bars = [bar for bar in found if bar.evidence >= read_from or label is not None]
    if not bars:
        return ScaleReading((), (), "", None, ())
    level = as_bytes(pixels)
    expected = metadata_um if only_contradiction else None
    readings = [
        _judged(level, bar, label, certificate_relative_uncertainty, expected) for bar in bars[:_READ_AT_MOST]
    ]
    readings += [BarReading(bar) for bar in bars[_READ_AT_MOST:]]
    readings = [r for r in _one_bar_a_label(readings) if r.label is not None or not r.bar.under_text]
    if not readings:
        return ScaleReading((), (), "", None, ())
    order = sorted(range(len(readings)), key=lambda k: (-readings[k].confidence, k))
    readings = [readings[k] for k in order]
    first, warnings = _weighed(readings, label)
    first, contradiction = _against_metadata(first, metadata_um, accepted_from)
    readings[0] = replace(first, accepted=first.label is not None and first.confidence >= accepted_from)
    warnings += _remarks(readings[0])
    return ScaleReading(
        tuple(readings), tuple(warnings), contradiction, _calibration(readings[0]), _overlays(level, readings)
    )


def _judged(
    level: np.ndarray, bar: Bar, given: Label | None, certificate: float | None, expected_um: float | None
) -> BarReading:
    """A bar with its label, confidence before anything else in the picture is weighed."""
    expected = None
    if expected_um is not None:
        expected = (
            bar.length_px * expected_um * (1 - _UNLIKE),
            bar.length_px * expected_um * (1 + _UNLIKE),
        )
    tied = tied_labels(level, bar, expected_um=expected)
    best: TiedLabel | None
    if given is not None:
        agreeing = [t for t in tied if abs(t.label.length_um / given.length_um - 1) < 1e-6]
        best = agreeing[0] if agreeing else tied[0] if tied else None
        reads_otherwise = best is not None and not agreeing and best.evidence * best.position >= ACCEPTED_FROM
        fit = 1.0 if agreeing else _CONTRADICTED if reads_otherwise else _GIVEN_ALONE
        read = best.label.text if best and reads_otherwise else ""
        reading = BarReading(bar, given, best.box if best else None, 1.0, fit, read_otherwise=read)
    elif tied:
        best = tied[0]
        reading = BarReading(bar, best.label, best.box, best.evidence, best.position * is_round(best.label))
        if len(tied) > 1 and tied[1].label.length_um != best.label.length_um:
            weight = tied[1].evidence * tied[1].position / max(best.evidence * best.position, 1e-9)
            reading = replace(reading, label_evidence=best.evidence * (1 - 0.5 * min(1.0, weight)))
    else:
        return BarReading(bar)
    size = reading.pixel_size_um
    if not SMALLEST_PIXEL_UM <= size <= LARGEST_PIXEL_UM:
        return replace(reading, fit=0.0)
    if not _USUAL_PIXELS_UM[0] <= size <= _USUAL_PIXELS_UM[1] and given is None:
        reading = replace(reading, fit=0.5 * reading.fit)
    if _in_doubt_by_ticks(bar):
        reading = replace(reading, fit=_TICKS_IN_DOUBT[1] * reading.fit)
    assert reading.label is not None
    step = 0.0 if given is not None else label_step_um(reading.label) / reading.label.length_um
    return replace(
        reading,
        confidence=bar.evidence * reading.label_evidence * reading.fit,
        uncertainty=bar_uncertainty(
            bar.length_px,
            bar.end_uncertainty_px,
            tick_width_px=bar.tick_width_px,
            label_step_relative=step,
            certificate_relative_uncertainty=certificate,
        ),
    )


def _in_doubt_by_ticks(bar: Bar) -> bool:
    """Whether the ticks are so wide for the bar that it matters which part of them the label counts from."""
    return tick_doubt_px(bar.tick_width_px) > _TICKS_IN_DOUBT[0] * bar.length_px


def _one_bar_a_label(readings: list[BarReading]) -> list[BarReading]:
    """A label tied to several bars stays with the one it fits best, in doubt where another fits as well."""
    out = []
    for reading in readings:
        box = reading.label_box
        rivals = [r for r in readings if r is not reading and box and r.label_box and _meet(box, r.label_box)]
        if any(r.confidence > reading.confidence for r in rivals):
            out.append(BarReading(reading.bar))
            continue
        other = [r for r in rivals if abs(r.bar.length_px / reading.bar.length_px - 1) > _LONGER]
        contested = any(
            r.fit > _CONTESTED * reading.fit and r.bar.evidence > _FAINTER * reading.bar.evidence
            for r in other
        )
        out.append(
            replace(reading, fit=_CONTRADICTED * reading.fit, confidence=_CONTRADICTED * reading.confidence)
            if contested
            else reading
        )
    return out


def _meet(a: Box, b: Box) -> bool:
    return a[0] < b[1] and b[0] < a[1] and a[2] < b[3] and b[2] < a[3]


def _weighed(readings: list[BarReading], given: Label | None) -> tuple[BarReading, list[str]]:
    """The first reading with its confidence lowered by what other bars say against it, and what that is."""
    first, *others = readings
    warnings: list[str] = []
    if first.label is None:
        return first, warnings
    factor = 1.0
    for other in others:
        if given is not None or other.label is None:
            factor = min(factor, _CONTRADICTED if given is not None and _rivals(first, other) else _SECOND)
        elif abs(other.pixel_size_um / first.pixel_size_um - 1) > _UNLIKE:
            factor = _CONTRADICTED
            warnings.append(
                f"Two scale bars contradict each other: {_text(first)} and {_text(other)}. Crop the picture "
                "to the one that holds, or state the pixel size."
            )
    return replace(first, confidence=first.confidence * factor), warnings


def _against_metadata(
    first: BarReading, metadata_um: float | None, accepted_from: float
) -> tuple[BarReading, str]:
    """The first reading with its confidence lowered where the pixel size given otherwise is another."""
    if metadata_um is None or first.label is None or abs(first.pixel_size_um / metadata_um - 1) <= _UNLIKE:
        return first, ""
    told = (
        f"The scale bar, {_text(first)}, and the pixel size given otherwise ({metadata_um:.5g} µm) differ by "
        f"{100 * (first.pixel_size_um / metadata_um - 1):+.1f} %: check which holds. A picture that was "
        "resized keeps its bar, not its metadata."
    )
    known = first.confidence / (_TICKS_IN_DOUBT[1] if _in_doubt_by_ticks(first.bar) else 1.0)
    sure = known >= accepted_from  # what part of its ticks counts makes no such difference
    return replace(first, confidence=first.confidence * _CONTRADICTED), told if sure else ""


def _rivals(first: BarReading, other: BarReading) -> bool:
    """Whether a given label could as well belong to the other bar."""
    apart = abs(other.bar.length_px / first.bar.length_px - 1) > _UNLIKE
    return apart and other.fit >= first.fit and other.bar.evidence > 0.8 * first.bar.evidence


def _remarks(first: BarReading) -> list[str]:
    """What there is to say where no bar gives the scale."""
    if first.accepted:
        return []
    where = f"row {first.bar.row_px:.0f}, columns {first.bar.col_start_px:.0f} to {first.bar.col_end_px:.0f}"
    if first.label is not None and first.read_otherwise:
        return [
            f"The label given is '{first.label.text}', but the one beside the bar ({where}) reads "
            f"'{first.read_otherwise}': nothing was taken. Give the right one, or state the pixel size."
        ]
    if first.label is not None and _in_doubt_by_ticks(first.bar):
        size, width = first.pixel_size_um, first.bar.tick_width_px
        outer, centre = (first.label.length_um / (first.bar.length_px + w / 2) for w in (width, -width))
        return [
            f"A scale bar may read {_text(first)} ({where}), but its end ticks are {width:.1f} px wide: "
            f"counted between their outer edges a pixel is {outer:.5g} µm, between their centres "
            f"{centre:.5g} µm. It was not taken. Measure a picture with a longer bar, or state the pixel "
            f"size: --pixel-size-um {size:.6g} on the command line, pixel_size_um in study.toml."
        ]
    if first.label is not None:
        return [
            f"A scale bar may read {_text(first)} ({where}), but with a confidence of only "
            f"{first.confidence:.2f} it was not taken. Look at it (`surfscan scale IMAGE --crop bar.png` "
            "cuts it out); if it is right, state the pixel size: "
            f"--pixel-size-um {first.pixel_size_um:.6g} on the command line, pixel_size_um in study.toml."
        ]
    reason = why_unreadable() or "no label could be read beside it"
    return [
        f"A scale bar of {first.bar.length_px:.1f} px was found ({where}). {reason[0].upper()}{reason[1:]}. "
        'Give its label, `surfscan scale IMAGE --label "50 µm"`, or state the pixel size.'
    ]


def _text(reading: BarReading) -> str:
    assert reading.label is not None
    length, size = reading.bar.length_px, reading.pixel_size_um
    return f"'{reading.label.text}' over {length:.1f} px, {size:.5g} µm per pixel"


def _calibration(first: BarReading) -> Calibration | None:
    if not first.accepted or first.label is None or first.uncertainty is None:
        return None
    size = first.pixel_size_um
    return Calibration(size, size, first.uncertainty.combined, f"scale bar '{first.label.text}'")


def _overlays(level: np.ndarray, readings: list[BarReading]) -> tuple[Box, ...]:
    rows, cols = level.shape[:2]
    boxes = []
    for reading in readings:
        if reading.label is None and reading.bar.evidence < _PLAIN_BAR:
            continue
        found = [reading.bar.box, reading.label_box, box_behind(level, reading.bar)]
        for box in found:
            if box is not None:
                row0, row1, col0, col1 = box
                boxes.append(
                    (
                        max(0, row0 - _MARGIN_PX),
                        min(rows, row1 + _MARGIN_PX),
                        max(0, col0 - _MARGIN_PX),
                        min(cols, col1 + _MARGIN_PX),
                    )
                )
    return tuple(boxes)


def _row(reading: BarReading) -> dict[str, float | str | bool | int]:
    bar, label = reading.bar, reading.label
    boxes = [box for box in (bar.box, reading.label_box) if box is not None]
    crop = (
        min(b[0] for b in boxes),
        max(b[1] for b in boxes),
        min(b[2] for b in boxes),
        max(b[3] for b in boxes),
    )
    return {
        "row_px": bar.row_px,
        "col_start_px": bar.col_start_px,
        "col_end_px": bar.col_end_px,
        "length_px": bar.length_px,
        "end_uncertainty_px": bar.end_uncertainty_px,
        "style": f"{bar.polarity} {bar.style}",
        "label": label.text if label else "",
        "length_um": label.length_um if label else float("nan"),
        "pixel_size_um": reading.pixel_size_um,
        "relative_uncertainty": reading.uncertainty.combined if reading.uncertainty else float("nan"),
        "bar_evidence": bar.evidence,
        "label_evidence": reading.label_evidence,
        "fit": reading.fit,
        "confidence": reading.confidence,
        "accepted": reading.accepted,
        **{f"crop_{name}_px": end for name, end in zip(("row0", "row1", "col0", "col1"), crop, strict=True)},
    }
