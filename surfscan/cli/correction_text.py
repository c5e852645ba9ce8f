"""What a terminal says of corrections: who made them, and which are not in the figures."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from surfscan.report.records import FieldRecord

_LISTED = 10


def correction_lines(records: Sequence[FieldRecord], faults: Iterable[str] = ()) -> list[str]:
    """Lines on the corrections of a study; none where nobody corrected anything.

    Parameters
    ----------
    records : sequence of FieldRecord
    faults : iterable of str
        What is wrong with files of corrections that cannot be used.
    """
    corrected = [r for r in records if r.corrections]
    scales = [r for r in records if r.reviews.scale is not None]
    lines = []
    for images, what in ((corrected, "measured as corrected by hand"), (scales, "with a scale by hand")):
        made = [c.reviewer for r in images for c in r.corrections.values()]
        if what.startswith("with"):
            made = [r.reviews.scale_from.reviewer for r in images if r.reviews.scale_from]
        if images:
            noun = "image" if len(images) == 1 else "images"
            lines.append(f"{len(images)} {noun} {what}, by {', '.join(dict.fromkeys(made))}")
    said = [f"{r.image_id}: {text}" for r in records for text in r.remarks]
    said += faults
    if said:
        lines += ["Corrections that are not in the figures:", *(f"  {text}" for text in said[:_LISTED])]
        more = len(said) - _LISTED
        lines += [f"  and {more} more: see 'surfscan check'"] if more > 0 else []
    return ["", *lines] if lines else []
