"""What is under review on the open image: result, edits, their journal, and saving them. No widgets."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from psygnal import Signal

from napari_surfscan.class_editing import ClassEditing
from napari_surfscan.pit_editing import PitEditing
from napari_surfscan.placing import placement
from napari_surfscan.preview import measure_part
from napari_surfscan.recovery import Base, Keeper, Leftover, leftovers_on, mask_digest, require_same
from napari_surfscan.review_start import start_review
from napari_surfscan.save_panel import changes_in_words
from napari_surfscan.tally_view import class_lines, pit_lines
from surfscan.errors import InputError
from surfscan.study.remembered import read_remembered, remember

if TYPE_CHECKING:
    from pydantic import BaseModel

    from napari_surfscan.session import ReviewSession
    from surfscan.store.corrections import Correction
    from surfscan.study.reviews import OpenedImage

CORRECTED_HERE = ("pits", "degraded", "section")


class ReviewDesk:
    """One procedure of the open image at a time.

    Parameters
    ----------
    session : ReviewSession

    Attributes
    ----------
    procedure : str
        Empty while none is chosen.
    settings : BaseModel or None
        Those of the result under review.
    editing : PitEditing, ClassEditing or None
    why_nothing : str
        Why nothing is under review, where there is a reason to tell.

    Signals
    -------
    changed (): another review stands on the screen, or none; edited (): figures have changed;
    rows_changed (): columns of the table have become known; busy (str); said (words, details);
    failed (exception); saved_state (words, is saving); offered (words).
    """

    changed = Signal()
    edited = Signal()
    rows_changed = Signal()
    busy = Signal(str)
    said = Signal(str, str)
    failed = Signal(object)
    saved_state = Signal(str, bool)
    offered = Signal(str)

    def __init__(self, session: ReviewSession) -> None:
        self.session = session
        self.procedure = ""
        self.settings: BaseModel | None = None
        self.editing: PitEditing | ClassEditing | None = None
        self.why_nothing = ""
        self.reviewer = ""
        self._keeper: Keeper | None = None
        self._leftovers: list[Leftover] = []
        self._base: Base | None = None
        self._unsaved = 0
        self._is_saving = False
        self._job: Any = None
        self._farewell = ""
        self._fault: InputError | None = None
        self._may_start_over = False
        session.image_opened.connect(self._on_opened)
        session.image_closing.connect(self._on_closing)
        session.study_opened.connect(self._on_study)
        if session.study is not None:
            self._on_study(session.study)
        if session.current is not None:
            self._on_opened(session.current)

    # what there is

    @property
    def opened(self) -> OpenedImage | None:
        """The open image."""
        return self.session.current

    @property
    def procedures(self) -> list[str]:
        """Procedures of the open image whose masks are corrected here."""
        return [] if self.opened is None else [p for p in CORRECTED_HERE if p in self.opened.settings]

    @property
    def has_unsaved(self) -> bool:
        """Whether there are edits that no save holds."""
        return self._unsaved > 0

    @property
    def _is_kept(self) -> bool:
        """Whether all edits would outlive the viewer."""
        return self._keeper is not None and self._keeper.is_whole

    @property
    def save_hindrance(self) -> str:
        """Why nothing can be saved now; empty where it can."""
        if self.editing is None:
            return "Nothing to save yet: run the procedure first"
        if not self.session.in_study:
            return "This image belongs to no study: open it from one to save corrections"
        return ""

    @property
    def versions(self) -> list[Correction]:
        """Saves of this procedure on the open image, oldest first."""
        from surfscan.study.reviewed import study_corrections

        if not self.session.in_study or not self.procedure:
            return []
        saved = study_corrections(self.session.study)
        own = saved.of_file(self.opened.entry.image_id, self.opened.image.source.sha256)
        return list(own.get(self.procedure, ()))

    def tally_lines(self) -> list[tuple[str, str, str]]:
        """Figures as the mask stands: name, value, change against the automatic result."""
        if self.editing is None:
            return []
        make = pit_lines if self.procedure == "pits" else class_lines
        return make(self.editing.review.tally())

    def changes_in_words(self) -> str:
        """What a save would hold, in words and numbers."""
        if self.editing is None or self.opened is None:
            return ""
        scale = self.opened.image.calibration
        changes = self.editing.review.changes().as_dict()
        return changes_in_words(changes, None if scale is None else scale.pixel_area_um2)

    # opening and running

    def open(self, procedure: str) -> None:
        """Show the result of a procedure for review; as last corrected, where somebody did."""
        self._leave()
        opened = self.opened
        if opened is None or procedure not in opened.settings:
            self.changed.emit()
            return
        self.procedure, self.settings = procedure, opened.settings[procedure]
        stored = opened.automatic.get(procedure)
        if stored is None or stored.status != "done":
            self.why_nothing = "" if stored is None else f"It could not be measured: {stored.message}"
            self.changed.emit()
            return
        correction = self._in_force(procedure)
        base = Base(
            opened.entry.image_id,
            procedure,
            opened.image.source.sha256,
            stored.mask_sha256.get(procedure, ""),
            correction="" if correction is None else correction.name,
        )
        self._start("Opening the mask", lambda: (start_review(opened, procedure, stored, correction), base))

    def run(self, settings: BaseModel) -> None:
        """Measure the open image with these settings, and put the result up for review."""
        opened, procedure, study = self.opened, self.procedure, self.session.study
        if opened is None or not procedure:
            return
        if self.has_unsaved and not self._may_start_over:
            self._may_start_over = True
            words = "There are unsaved corrections. Save them, or press Run again to start over without them."
            self.said.emit(words, "")
            return
        image_id = opened.entry.image_id if self.session.in_study else ""

        def measure() -> Any:
            from surfscan.study.reviews import measure_now

            if image_id:
                result = measure_now(study, image_id, procedure, settings, opened.image, opened.companions)
            else:
                result = measure_part(procedure, opened.image, settings)
            base = Base(
                image_id,
                procedure,
                opened.image.source.sha256,
                mask_digest(result, procedure),
                settings=settings.model_dump(mode="json"),
            )
            return start_review(opened, procedure, result), base

        self._may_start_over = False
        self._start("Measuring", measure, settings)

    def stop(self) -> None:
        """Drop what is being opened or measured."""
        if self._job is not None:
            self._job.cancel()
            self._job = None
            self.busy.emit("")
            self.said.emit("Stopped. Nothing has changed.", "")

    def _start(
        self,
        words: str,
        make: Callable[[], tuple[Any, Base]],
        settings: BaseModel | None = None,
        found: Leftover | None = None,
    ) -> None:
        """Make a review in a worker, and put it up where the image is still the same by then."""
        opened, procedure = self.opened, self.procedure
        if self._job is not None:
            self._job.cancel()

        def begun(made: tuple[Any, Base]) -> None:
            self._job = None
            self.busy.emit("")
            if self.opened is opened and self.procedure == procedure:
                self._begin(*made, settings, found)

        def failed(error: Exception) -> None:
            self._job = None
            self.busy.emit("")
            self.failed.emit(error)

        self.busy.emit(words)
        job = self.session.run(make, returned=begun, failed=failed)
        self._job = None if job.is_over else job

    def _begin(
        self, review: Any, base: Base, settings: BaseModel | None, found: Leftover | None = None
    ) -> None:
        self._drop_edits()
        if settings is not None:
            self.settings = settings
        self._base = base
        placing = placement(self.opened.image.calibration)
        if self.procedure == "pits":
            self.editing = PitEditing(self.session.viewer, review, placing, self._keep)
        else:
            self.editing = ClassEditing(
                self.procedure, review.class_names, self.session.viewer, review, placing, self._keep
            )
        self.editing.attach()
        self.editing.edited.connect(self._on_edit)
        self.editing.said.connect(self._on_said)
        if found is not None:
            self._keeper = Keeper.going_on(found.path)
            self._unsaved = found.unsaved_count
        self.changed.emit()
        self._show_state()
        if found is not None:
            self.said.emit(f"{found.unsaved_count} edits are back; they are not saved yet.", "")
        self._look_for_leftovers()
        if self._farewell:
            self.said.emit(self._farewell, "")
            self._farewell = ""
        if self.procedure == "pits" and not review.prepared:
            self._prepare(review)

    def _prepare(self, review: Any) -> None:
        """Work out in the background what contrasts of outlines drawn by hand are judged by."""

        def prepared(_: Any) -> None:
            if self.editing is not None and self.editing.review is review:
                self.rows_changed.emit()

        self.session.run(review.prepare, returned=prepared, failed=self.failed.emit)

    def _in_force(self, procedure: str) -> Correction | None:
        """The save that counts for the open image."""
        from surfscan.study.reviewed import reviews_on, study_corrections

        if not self.session.in_study:
            return None
        study = self.session.study
        saved = study_corrections(study)
        reviews = reviews_on(study, saved, self.opened.entry, self.opened.image.source.sha256)
        return reviews.results.get(procedure)

    # edits

    def _keep(self, edit: Any) -> None:
        """Put an edit into the journal, which begins with the first."""
        if not self.session.in_study:
            return
        if self._keeper is None:
            self._keeper = Keeper(self.session.study.folder, self.reviewer, self._base)
        try:
            self._keeper.append(edit)
        except InputError as error:
            self._fault = error

    def _note_saved(self, count: int) -> None:
        """Put into the journal that a save holds its first edits, not those made while it was under way."""
        try:
            if self._keeper is not None:
                self._keeper.note_saved(count)
        except InputError as error:
            self.failed.emit(error)

    def _on_edit(self, _: Any) -> None:
        self._unsaved += 1
        self._may_start_over = False
        self.edited.emit()
        self._show_state()
        if self._fault is not None:  # last, since an edit takes what was said before off the screen
            self.failed.emit(self._fault)
            self._fault = None

    def _on_said(self, words: str) -> None:
        self.said.emit(words, "")

    def _drop_edits(self) -> None:
        """Take the layers of the review away; its unsaved edits are given up."""
        if self.editing is not None:
            self.editing.detach()
            self.editing = None
        if self._keeper is not None:
            self._keeper.discard()
            self._keeper = None
        self._unsaved = 0

    def _leave(self) -> None:
        """Take the layers of the review away; its unsaved edits stay in their journal."""
        if self.has_unsaved and self.opened is not None:
            name = self.opened.entry.file
            if self._is_kept:
                self._farewell = (
                    f"Unsaved corrections of {name} are kept, and offered when it is opened again."
                )
            elif self._keeper is None:
                self._farewell = f"{name} belongs to no study, so its corrections were not kept."
            else:
                self._farewell = f"Not all unsaved corrections of {name} could be kept."
        if self.editing is not None:
            self.editing.detach()
            self.editing = None
        if self._keeper is not None:
            self._keeper.close(has_unsaved=self.has_unsaved)
            self._keeper = None
        if self._job is not None:
            self._job.cancel()
            self._job = None
            self.busy.emit("")
        self._unsaved = 0
        self._leftovers = []
        self.why_nothing = ""
        self.offered.emit("")

    def _show_state(self) -> None:
        if self._is_saving:
            self.saved_state.emit("Saving …", True)
        elif self.has_unsaved:
            kept = "; kept" if self._is_kept else ", and not kept"
            self.saved_state.emit(f"● Not saved yet{kept} in case of a crash", False)
        else:
            saved = self.versions
            words = f"✓ Saved by {saved[-1].said}" if saved else "Nobody has corrected this yet"
            self.saved_state.emit(words, False)

    # saving

    def name_reviewer(self, name: str) -> None:
        """Who corrects; remembered with the study."""
        self.reviewer = name
        if self.session.study is not None and name:
            remember(self.session.study.folder, reviewer=name)

    def save(self, reviewer: str, reason: str) -> None:
        """Save the corrections beside the automatic result, then measure with them."""
        from surfscan.study.reviews import save_review

        opened, procedure, editing = self.opened, self.procedure, self.editing
        study = self.session.study
        if opened is None or editing is None or self._is_saving or self.save_hindrance:
            return
        self.name_reviewer(reviewer)
        review = editing.review
        mask = review.corrected_labels()
        marks = review.marks() if procedure == "pits" else None
        changes, held = review.changes().as_dict(), self._unsaved
        written = 0 if self._keeper is None else self._keeper.count
        told: list[str] = []

        def write() -> Any:
            return save_review(
                study,
                opened,
                procedure,
                reviewer=reviewer,
                reason=reason,
                mask=mask,
                changes=changes,
                marks=marks,
                settings=self.settings.model_dump(mode="json"),
                tell=told.append,
            )

        def saved(_: Correction) -> None:
            self._is_saving = False
            if self.editing is editing:
                self._unsaved -= held
                self._note_saved(written)
                self._show_state()
            self.session.item_changed.emit(opened.entry.image_id)
            self.said.emit(" ".join(told), "")

        def failed(error: Exception) -> None:
            self._is_saving = False
            self._show_state()
            self.failed.emit(error)

        self._is_saving = True
        self._show_state()
        self.session.run(write, returned=saved, failed=failed)

    # unsaved work found

    def _look_for_leftovers(self) -> None:
        if not self.session.in_study or self.editing is None:
            return
        found, faults = leftovers_on(self.session.study.folder, self.opened.entry.image_id, self.procedure)
        own = None if self._keeper is None else self._keeper.path
        self._leftovers = [each for each in found if each.path != own]
        self.offered.emit(self._leftovers[0].words if self._leftovers else "")
        for fault in faults:
            self.failed.emit(fault)

    def recover(self) -> None:
        """Bring the unsaved edits back that were offered; the base they were made on is made anew."""
        opened, procedure, study = self.opened, self.procedure, self.session.study
        if not self._leftovers or opened is None:
            return
        if self.has_unsaved:
            self.said.emit("Save the corrections on the screen first, or undo them; then take these up.", "")
            return
        found = self._leftovers[0]
        stored = opened.automatic.get(procedure)
        own = "" if stored is None else stored.mask_sha256.get(procedure, "")
        correction = next((c for c in self.versions if c.name == found.base.correction), None)
        settings = None
        if found.base.settings is not None:
            settings = type(self.settings)(**found.base.settings)

        def make() -> Any:
            from surfscan.study.reviews import measure_now

            if found.base.correction and correction is None:
                raise InputError(
                    found.base.correction,
                    "the unsaved edits go on from this save, which is not there any more",
                    "Bring the file back",
                )
            result = stored
            if settings is not None:
                image_id = opened.entry.image_id
                result = measure_now(study, image_id, procedure, settings, opened.image, opened.companions)
            digest = own if settings is None else mask_digest(result, procedure)
            require_same(found.base, opened.image.source.sha256, digest)
            review = start_review(opened, procedure, result, correction)
            review.replay(found.edits)
            return review, found.base

        self._start("Bringing unsaved edits back", make, settings, found)

    def drop_recovery(self) -> None:
        """Delete the unsaved edits that were offered; offer the next, where there are more."""
        if self._leftovers:
            self._leftovers.pop(0).discard()
        self.offered.emit(self._leftovers[0].words if self._leftovers else "")

    # session

    def _on_study(self, study: Any) -> None:
        self.reviewer = read_remembered(study.folder).reviewer

    def _on_opened(self, _: OpenedImage) -> None:
        if self.procedures:
            self.open(self.procedures[0])
        else:
            self.procedure, self.settings = "", None
            self.changed.emit()

    def _on_closing(self, _: OpenedImage) -> None:
        self._leave()
        self.procedure, self.settings = "", None
        if self._farewell:
            self.session.message.emit(self._farewell, "")
