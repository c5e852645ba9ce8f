"""What the page of a study is made of: its contents, its parts, and the gallery of pictures."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from surfscan.report.by_hand_tables import ByHand
from surfscan.report.extreme_values import Extremes
from surfscan.report.groups import GroupSummary
from surfscan.report.hand_drawing import hand_signs
from surfscan.report.pictures import FieldPicture
from surfscan.report.pooling import SpecimenSummary
from surfscan.report.rate_records import RateRecord
from surfscan.report.records import FieldRecord, of_kind
from surfscan.report.study_comparison import StudyComparison
from surfscan.report.truth import TruthComparison

if TYPE_CHECKING:
    from surfscan.study.entries import Shows
    from surfscan.study.manifest import Study


@dataclass(frozen=True)
class PageContent:
    """All that the page is made of."""

    study: Study
    records: Sequence[FieldRecord]
    specimens: Sequence[SpecimenSummary]
    groups: Sequence[GroupSummary]
    truth: Sequence[TruthComparison]
    pictures: Mapping[str, FieldPicture]
    warnings: Sequence[tuple[str, str]]
    inputs: Sequence[tuple[str, str, str]]
    """(file, what it is, SHA-256) of every input."""
    libraries: Sequence[tuple[str, str]] = field(default=())
    extremes: Sequence[Extremes] = field(default=())
    rates: Sequence[RateRecord] = field(default=())
    """Sweeps, weighings, gas series and logs."""
    by_hand: ByHand | None = None
    """What people corrected; None where nothing is on record."""
    comparison: StudyComparison | None = None
    """Rates side by side and what follows from them."""


@dataclass(frozen=True)
class Part:
    """One part of the page with a place in its contents.

    Attributes
    ----------
    anchor, title : str
    template : str
        In the folder parts/; it finds what it shows under the name `it`.
    shown : mapping
    """

    anchor: str
    title: str
    template: str
    shown: Mapping[str, Any]


@dataclass(frozen=True)
class KindPictures:
    """Pictures of one kind of image, for the sections of the specimens.

    Attributes
    ----------
    kind : Shows
    title : str
        As a heading over the pictures of one specimen.
    name : str
        Stem of two templates in the folder parts/: `NAME_legend.html.j2` says once what the signs mean and
        finds what it shows under the name `it`; `NAME_pictures.html.j2` draws the pictures of a specimen,
        which it finds as `fields`.
    shown : mapping
        For the legend.
    fields : mapping of str to list of dict
        Specimen id -> its measured images, each with what the template draws.
    """

    kind: Shows
    title: str
    name: str
    shown: Mapping[str, Any]
    fields: Mapping[str, list[dict[str, Any]]]


@dataclass(frozen=True)
class OnPage:
    """All that the page says of one kind of image, or of sweeps, rates or logs.

    Attributes
    ----------
    title : str
        What such images are called.
    what : str
        What was measured, in words.
    sentences : sequence of str
        For the summary.
    figures : sequence of Part
        Tables and charts.
    pictures : KindPictures or None
        The images themselves, which stand in the sections of their specimens.
    not_measured, method : sequence of str
    sizes : sequence of Part
        What follows the tables and charts of all kinds.
    cautions : sequence of str
    """

    title: str
    what: str
    sentences: Sequence[str]
    figures: Sequence[Part]
    pictures: KindPictures | None
    not_measured: Sequence[str]
    method: Sequence[str]
    sizes: Sequence[Part] = ()
    cautions: Sequence[str] = ()


def signs_by_hand(content: PageContent, kind: Shows) -> dict[str, bool]:
    """Which signs of what was done by hand the pictures of one kind show."""
    own = [content.pictures.get(r.image_id) for r in of_kind(content.records, kind)]
    return hand_signs(layer for picture in own if picture for layer in picture.layers.values())


def gallery(
    content: PageContent,
    kind: Shows,
    own: Callable[[FieldRecord, FieldPicture | None], dict[str, Any]],
) -> dict[str, list[dict[str, Any]]]:
    """Measured images of one kind by specimen id, each with its picture and what `own` adds."""
    from markupsafe import Markup

    place = {record.image_id: k for k, record in enumerate(content.records)}
    out = {}
    for summary in content.specimens:
        fields = []
        for record in summary.by_kind[kind].records:
            if record.any_done() is None:
                continue
            picture = content.pictures.get(record.image_id)
            fields.append(
                {
                    "key": f"picture-{place[record.image_id]}",
                    "name": record.image_id,
                    "worst": not record.enters_means,
                    "picture": picture and {**vars(picture), "scale_bar": Markup(picture.scale_bar)},
                    **own(record, picture),
                }
            )
        if fields:
            out[summary.specimen.id] = fields
    return out
