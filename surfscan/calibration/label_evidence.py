"""Which text near a scale bar is its label, and how sure the reading is."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace

import numpy as np

from surfscan.calibration.bars import Bar, Box, label_windows
from surfscan.calibration.label_reading import ReadText, is_plain, read_labels
from surfscan.calibration.labels import Label, may_be_shortened, parse_label
from surfscan.calibration.surroundings import box_behind

_FAR = 3.0  # distance of a label from its bar, in heights of its text, at which it is tied no more
_NEAR = 1.6  # ... and up to which it stands as labels do
_CUT_PX = 1
_ASIDE_PX = 4
_SPACE = 0.9  # widest space within a label, in heights of its text
_NAMES = frozenset(
    (
        "wd",
        "hfw",
        "vfw",
        "fw",
        "hfov",
        "vfov",
        "fov",
        "width",
        "height",
        "field",
        "aperture",
        "focus",
        "dist",
        "z",
    )
)  # what goes before a length in a data strip that is not the bar's
_FROM_INK = 0.6  # what a rendering of the distance from the ink weighs: thin letters lose parts in it
_ENOUGH = 3  # renderings that agree
_AT_BORDER = 0.6  # what is left of the evidence of a label that may be cut by the picture's border
_DIGIT_SPACE = 0.6  # widest space between two digits, in their height: beside a 1 of even width
_CLEAR_PX = 2  # columns at the border without any ink where no digit is cut in two
_MIDDLE, _BEGINS = 0.15, 0.1  # of its digits' height by which a label may lie off the middle of its bar, and
# off its beginning: a digit less shifts these by a quarter of it and by half of it at least
_LIKE_INK, _NEARER = (
    60,
    0.4,
)  # levels of 255 within which a pixel has the colour of the bar, and share of what
# sets that apart from its ground
_LEAST_INK = 0.05  # share of a label's box that has the colour of its bar, where the label has it
_FRAME, _FRAME_PX = 0.9, 5  # share of a column that is ink where a frame goes through it; its width at most
_CROSSES = 0.12  # share of the columns behind a frame up to which no more than its lines along the rows show
_DOT = 0.05  # share of a column that is ink where a letter or a decimal point goes through it
_FOLLOWED = 0.95  # what is left of the score of a text that only begins with a length


@dataclass(frozen=True)
class TiedLabel:
    """A label that stands at a bar.

    Attributes
    ----------
    label : Label
    box : Box
        Where it stands in the picture.
    evidence : float
        0 to 1, from how many renderings agree, how well they were recognised and whether any reads otherwise.
    position : float
        0 to 1: 1 close above, below or beside the bar, less the farther away.
    """

    label: Label
    box: Box
    evidence: float
    position: float


def tied_labels(
    pixels: np.ndarray, bar: Bar, *, expected_um: tuple[float, float] | None = None
) -> list[TiedLabel]:
    """Labels that stand at a bar, the surest first.

    Parameters
    ----------
    pixels : ndarray of shape (M, N) or (M, N, 3), uint8
    bar : Bar
    expected_um : (float, float), optional
        Least and largest length that would be no surprise: where the first rendering says such a one, the
        others are not read, and the evidence is that of one rendering.

    Returns
    -------
    list of TiedLabel
        Empty where no text beside the bar is a length, or no text can be read. A text cut by the end of what
        was read, a number with a name before it ("WD 10 mm"), and text that stands too far off are left out.
    """
    near, wide = reading_windows(pixels, bar)
    if expected_um is not None:
        low, high = expected_um
        tied, _ = _tied_in(pixels, bar, near, only_first=True)
        if tied and low <= tied[0].label.length_um <= high:
            return tied[:1]
    tied, cut = _tied_in(pixels, bar, near)
    if wide == near or (tied and not cut):
        return tied
    return _tied_in(pixels, bar, wide)[0] or tied


def _tied_in(
    pixels: np.ndarray, bar: Bar, window: Box, *, only_first: bool = False
) -> tuple[list[TiedLabel], bool]:
    """Labels at the bar within one window, and whether one was left out that the window may cut."""
    row0, row1, col0, col1 = window
    ink = ink_of(pixels, bar)
    part = _without_bar(pixels[row0:row1, col0:col1], bar, row0, col0)
    texts = [
        ReadText(
            t.text, (t.box[0] + row0, t.box[1] + row0, t.box[2] + col0, t.box[3] + col0), t.score, t.rendering
        )
        for t in read_labels(part, ink=ink, only_first=only_first)
    ]
    texts = [_leading(t) for t in texts]
    joined = _joined(texts)
    whole = [t for t in joined if not _is_cut(t.box, window, pixels.shape)]
    left_out = any(parse_label(t.text) for t in joined if _is_cut(t.box, window, pixels.shape))
    found = []
    for place in _places(whole):
        tied = _tied(place, texts, bar)
        if tied is not None:
            cut = _may_be_cut(pixels, bar, tied.label, tied.box, ink)
            found.append(replace(tied, evidence=tied.evidence * (_AT_BORDER if cut else 1.0)))
    return sorted(found, key=lambda t: (-t.evidence * t.position, t.box)), left_out


def reading_windows(pixels: np.ndarray, bar: Bar) -> tuple[Box, Box]:
    """What is read: all the windows close to the bar with any box behind it; else twice as far round.

    Little that is left between them and the picture's border belongs to them: a label there is not cut.
    """
    windows = label_windows(bar, pixels.shape)
    behind = box_behind(pixels, bar)
    rows, cols = pixels.shape[:2]
    near = [*windows[:-1], bar.box]
    if behind is not None:
        grown = (behind[0] - _ASIDE_PX, behind[1] + _ASIDE_PX, behind[2] - _ASIDE_PX, behind[3] + _ASIDE_PX)
        near.append((max(0, grown[0]), min(rows, grown[1]), max(0, grown[2]), min(cols, grown[3])))
    row0, row1, col0, col1 = _around(near)
    high, wide = (row1 - row0) // 2, (col1 - col0) // 4
    to_border = (
        row0 if row0 > high else 0,
        row1 if rows - row1 > high else rows,
        col0 if col0 > wide else 0,
        col1 if cols - col1 > wide else cols,
    )
    return to_border, _around([to_border, *windows])


def _around(boxes: list[Box]) -> Box:
    return (
        min(b[0] for b in boxes),
        max(b[1] for b in boxes),
        min(b[2] for b in boxes),
        max(b[3] for b in boxes),
    )


def ink_of(pixels: np.ndarray, bar: Bar) -> np.ndarray:
    """Level or colour of the bar: the median along its middle row."""
    first, last = round(bar.col_start_px) + 2, round(bar.col_end_px) - 1
    line = pixels[round(bar.row_px), first : max(first + 1, last)]
    return np.atleast_1d(np.median(line, axis=0))


def _without_bar(part: np.ndarray, bar: Bar, row0: int, col0: int) -> np.ndarray:
    """The window with the bar and its ticks painted over, so that they are not read as strokes."""
    out = part.copy()
    half = bar.thickness_px / 2 + 1.5
    top, bottom, left, right = bar.box
    middle = (max(0, int(bar.row_px - half) - row0), int(np.ceil(bar.row_px + half)) + 1 - row0)
    spans = [(middle[0], middle[1], left - 1 - col0, right + 1 - col0)]
    if bar.ticks:
        wide = int(np.ceil(max(2.0, bar.thickness_px))) + 2
        for end in (bar.col_start_px, bar.col_end_px):
            spans.append(
                (top - 1 - row0, bottom + 1 - row0, int(end) - wide - col0, int(end) + wide + 1 - col0)
            )
    grown = part[max(0, middle[0] - 3) : middle[1] + 3, max(0, left - col0) : right - col0]
    edges = np.concatenate([grown[:2], grown[-2:]]).reshape(-1, *part.shape[2:])
    ground = np.median(edges, axis=0)
    for r0, r1, c0, c1 in spans:
        out[max(0, r0) : max(0, r1), max(0, c0) : max(0, c1)] = ground
    return out


def _is_cut(box: Box, window: Box, shape: tuple[int, ...]) -> bool:
    """Whether a text may go on beyond the window."""
    limits = (0, shape[0], 0, shape[1])
    return any(
        abs(side - end) <= _CUT_PX and end != limit
        for side, end, limit in zip(box, window, limits, strict=True)
    )


def _may_be_cut(pixels: np.ndarray, bar: Bar, label: Label, box: Box, ink: np.ndarray) -> bool:
    """Whether a label begins so close to the picture's left border that a digit before it may be cut off.

    A digit cut in two leaves ink at the border; one cut off whole leaves no more than a space between digits,
    a number that bars have with it, and a label that does not stand in the middle of its bar nor begin with
    it. Where the left edge of a box or frame shows, nothing is cut. On the right a unit would be cut, and
    what is left of it is none.
    """
    row0, row1, col0, col1 = box
    high = row1 - row0
    behind = box_behind(pixels, bar)
    if col0 > high or (behind is not None and _holds_from_its_left(behind, box)):
        return False
    is_ink = _ink_up_to(pixels[max(0, row0) : row1, :col1], col0, ink)
    share = np.mean(is_ink, axis=0)
    frame = int(np.argmax(share < _FRAME))
    if 0 < frame <= _FRAME_PX and share[frame + 1 : frame + 1 + _CLEAR_PX].max(initial=0.0) < _CROSSES:
        return False
    if np.any(share[:_CLEAR_PX] >= _DOT):
        return True
    inked = np.flatnonzero(share >= _DOT)
    if len(inked) == 0:
        return True
    first, last = int(inked[0]), int(inked[-1])
    rows = np.flatnonzero(is_ink[:, first : first + max(2, high // 3)].any(axis=1))
    digit = int(rows[-1] - rows[0] + 1)
    if first > _DIGIT_SPACE * digit:
        return False
    off_middle = 0.5 * (first + last) - 0.5 * (bar.col_start_px + bar.col_end_px)
    is_aligned = abs(off_middle) <= _MIDDLE * digit or abs(first - bar.col_start_px) <= max(
        2.0, _BEGINS * digit
    )
    return may_be_shortened(label) and not is_aligned


def _holds_from_its_left(behind: Box, box: Box) -> bool:
    """Whether the left edge of the box behind shows in the picture, before a label that it holds."""
    middle = 0.5 * (box[0] + box[1])
    return behind[2] > 0 and behind[0] <= middle <= behind[1] and behind[2] <= box[2] + _ASIDE_PX


def _ink_up_to(part: np.ndarray, col0: int, ink: np.ndarray) -> np.ndarray:
    """Where a label that begins about column `col0` has its ink, in the rows of its box up to its end.

    Ink has the colour of the bar, or where the label shows none of that, any that stands out of its ground.
    """
    part = part.astype(np.int16).reshape(*part.shape[:2], -1)
    ground = np.median(part[:, col0:], axis=(0, 1))
    near = min(_LIKE_INK, _NEARER * float(np.abs(ink - ground).max()))
    is_ink = np.abs(part - ink).max(axis=2) <= near
    if np.mean(is_ink[:, col0:]) >= _LEAST_INK:
        return np.asarray(is_ink)
    away = np.abs(part - ground).max(axis=2)
    return np.asarray(away >= 0.5 * np.percentile(away[:, col0:], 98))


def _places(texts: list[ReadText]) -> list[list[ReadText]]:
    """Texts of all renderings that stand in one place, where any of them is a length."""
    groups: list[list[ReadText]] = []
    for text in sorted((t for t in texts if parse_label(t.text)), key=lambda t: (-t.score, t.rendering)):
        if not any(_overlap(text.box, group[0].box) > 0.3 for group in groups):
            groups.append([text])
    for group in groups:
        group += [t for t in texts if t is not group[0] and _overlap(t.box, group[0].box) > 0.3]
    return groups


def _tied(place: list[ReadText], texts: list[ReadText], bar: Bar) -> TiedLabel | None:
    """The label read in one place, if it belongs to the bar."""
    votes: dict[float, list[tuple[float, ReadText, Label]]] = defaultdict(list)
    against = 0.0
    for text in place:
        label = parse_label(text.text)
        weight = text.score**2 * (1.0 if is_plain(text.rendering) else _FROM_INK)
        if label is None:
            against += 0.3 * weight if any(c.isdigit() for c in text.text) else 0.0
            continue
        votes[label.length_um].append((weight * (1.0 if label.as_written else 0.75), text, label))
    length = max(votes, key=lambda key: (sum(weight for weight, _, _ in votes[key]), key))
    agreeing = votes[length]
    support = sum(weight for weight, _, _ in agreeing)
    against += sum(weight for key, others in votes.items() if key != length for weight, _, _ in others)
    best = max(agreeing, key=lambda vote: (vote[0], -vote[1].rendering))
    box = tuple(int(np.median([t.box[k] for _, t, _ in agreeing])) for k in range(4))
    position = _position((box[0], box[1], box[2], box[3]), bar)
    if position <= 0 or _is_named(agreeing, texts):
        return None
    count = len({text.rendering for _, text, _ in agreeing})
    enough = (0.72, 0.92, 1.0)[min(count, _ENOUGH) - 1]
    quality = min(1.0, 0.25 + best[1].score * (1.0 if best[2].as_written else 0.75))
    evidence = enough * quality * support / (support + 1.5 * against)
    return TiedLabel(best[2], (box[0], box[1], box[2], box[3]), float(evidence), position)


def _leading(text: ReadText) -> ReadText:
    """The length that a text begins with, where words without meaning for it follow ("25 µm Tilt 0.0").

    Where it ends is put down by its share of the characters. A length at the end of a text stays with what
    goes before, which may be its name.
    """
    words = text.text.split()
    for count in (1, 2):
        length = " ".join(words[:count])
        if len(words) <= count or parse_label(text.text) is not None:
            break
        follows = any(character.isdigit() for character in words[count])  # "10.0 mm x500": a line of data
        if parse_label(length) is not None and not follows:
            row0, row1, col0, col1 = text.box
            end = col0 + round((col1 - col0) * len(length) / len(text.text))
            return ReadText(length, (row0, row1, col0, end), text.score * _FOLLOWED, text.rendering)
    return text


def _joined(texts: list[ReadText]) -> list[ReadText]:
    """Texts, with a number and the unit that follows it on its line put together if they were read apart."""
    out: list[ReadText] = []
    used: set[int] = set()
    for left in texts:
        if not any(c.isdigit() for c in left.text) or parse_label(left.text):
            continue
        for right in texts:
            if right.rendering != left.rendering or right is left or any(c.isdigit() for c in right.text):
                continue
            text = f"{left.text} {right.text}"
            if parse_label(text) and _gap(left.box, right.box) <= _SPACE:
                box = _around([left.box, right.box])
                out.append(ReadText(text, box, min(left.score, right.score), left.rendering))
                used |= {id(left), id(right)}
                break
    return [t for t in texts if id(t) not in used] + out


def _gap(left: Box, right: Box) -> float:
    """Space between two boxes on one line, in heights of the right one; infinite where they are not."""
    high = right[1] - right[0]
    middle = 0.5 * (left[0] + left[1])
    if not right[0] <= middle <= right[1]:
        return float("inf")
    space = (right[2] - left[3]) / high
    return space if space >= -0.5 else float("inf")


def _is_named(agreeing: list[tuple[float, ReadText, Label]], texts: list[ReadText]) -> bool:
    """Whether a word without a number ("WD", "HFW =") stands just before the label on its line."""
    for _, label, _ in agreeing:
        for other in texts:
            if other.rendering != label.rendering or other is label or any(c.isdigit() for c in other.text):
                continue
            word = other.text.strip(" :=.-").casefold()
            gap = _gap(other.box, label.box)
            if gap <= 2.0 and (word in _NAMES or "=" in other.text or ":" in other.text):
                return True
            if gap <= _SPACE and len(word) >= 2 and word.isalpha() and word not in ("scale", "bar"):
                return True
    return False


def _position(box: Box, bar: Bar) -> float:
    """1 where the box stands close above, below or beside the bar, falling to 0 with distance."""
    row0, row1, col0, col1 = box
    high, wide = row1 - row0, col1 - col0
    top, bottom = bar.box[0], bar.box[1]
    # Descenders and loose boxes of recognition let a label overlap its bar a little.
    above, below = top - row1, row0 - bottom
    middle = 0.5 * (col0 + col1)
    over = max(0.0, bar.col_start_px - middle, middle - bar.col_end_px)
    if over <= 0.5 * wide + 2:
        gap = float(max(above, below))
        if gap < -0.9 * high:
            gap = max(bar.row_px - bar.thickness_px / 2 - row1, row0 - bar.row_px - bar.thickness_px / 2)
        if gap > -0.6 * high:
            return _falling(gap / high)
    aside = max(col0 - bar.col_end_px, bar.col_start_px - col1)
    centre = 0.5 * (row0 + row1)
    if aside > -0.3 * high and abs(centre - bar.row_px) <= 0.6 * high + 0.5 * bar.thickness_px:
        return _falling(aside / high)
    return 0.0


def _falling(distance: float) -> float:
    """1 up to `_NEAR` heights of text, 0 from `_FAR` on."""
    return float(np.clip((_FAR - distance) / (_FAR - _NEAR), 0, 1))


def _overlap(a: Box, b: Box) -> float:
    """Area in common over the smaller area."""
    high = min(a[1], b[1]) - max(a[0], b[0])
    wide = min(a[3], b[3]) - max(a[2], b[2])
    if high <= 0 or wide <= 0:
        return 0.0
    return high * wide / max(1, min((a[1] - a[0]) * (a[3] - a[2]), (b[1] - b[0]) * (b[3] - b[2])))
