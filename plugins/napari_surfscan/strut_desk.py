"""The struts of the open image under review: which one, which place on it, edits and saving. No widgets."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from psygnal import Signal

from napari_surfscan.recovery import Base, Keeper, Leftover, leftovers_on, require_same
from surfscan.corrections.strut_edits import EdgeHandle, EdgeMoves, StrutReview
from surfscan.errors import InputError
from surfscan.images import Micrograph
from surfscan.measurement.strut_edges import Side
from surfscan.procedures.settings import StrutSettings
from surfscan.procedures.strut_profile import SectionAt, StrutProfile, section_at, strut_profile, worst_struts
from surfscan.study.entries import ROLES
from surfscan.study.remembered import remember

if TYPE_CHECKING:
    from napari_surfscan.session import ReviewSession
    from surfscan.procedures.result import Result
    from surfscan.study.reviews import OpenedImage

PROCEDURE = "struts"


class StrutDesk:
    """Struts of one image at a time, one of them in view, and one place on it.

    Parameters
    ----------
    session : ReviewSession

    Attributes
    ----------
    review : StrutReview or None
    strut : int
        In view; 0 for none.
    profile : StrutProfile or None
        Of that strut, with the edges as they stand or as they are being dragged.
    place : int
        Station in the profile that the cursor is at; -1 for none.
    shown : Result or None
        What the profile belongs to.

    Signals
    -------
    changed (): another review, or none; strut_chosen (); figures_changed (): an edit; previewed (): a drag
    is under way; place_changed (int); busy (str); said (words, details); failed (exception);
    saved (words, is saving); offered (str): unsaved work was found.
    """

    changed = Signal()
    strut_chosen = Signal()
    figures_changed = Signal()
    previewed = Signal()
    place_changed = Signal(int)
    busy = Signal(str)
    said = Signal(str, str)
    failed = Signal(object)
    saved = Signal(str, bool)
    offered = Signal(str)

    def __init__(self, session: ReviewSession) -> None:
        self.session = session
        self.review: StrutReview | None = None
        self.strut = 0
        self.profile: StrutProfile | None = None
        self.place = -1
        self.shown: Result | None = None
        self.reviewer = ""
        self._keeper: Keeper | None = None
        self._leftover: Leftover | None = None
        self._unsaved = 0
        self._is_saving = False
        self._job: Any = None
        self._went_on_from = ""
        session.image_opened.connect(self._on_opened)
        session.image_closing.connect(self._on_closing)

    # what there is

    @property
    def image(self) -> Micrograph | None:
        """The open picture; None for a height map or nothing."""
        current = self.session.current
        return current.image if current is not None and isinstance(current.image, Micrograph) else None

    @property
    def shows_struts(self) -> bool:
        """Whether study.toml says that the open image shows struts."""
        return self.session.current is not None and PROCEDURE in self.session.current.settings

    @property
    def struts(self) -> list[int]:
        """Struts that can be chosen, the worst first."""
        return [] if self.review is None else worst_struts(self.review.automatic)

    @property
    def hindrance(self) -> str:
        """Why nothing can be saved now; empty where it can."""
        if self.review is None:
            return "Nothing to save yet: no struts have been measured"
        if not (self.session.in_study and self.shows_struts):
            return "This image belongs to no study as a strut: open it from one to save corrections"
        return ""

    @property
    def has_unsaved(self) -> bool:
        """Whether there are edits that no save holds."""
        return self._unsaved > 0

    @property
    def section(self) -> SectionAt | None:
        """The section at the place of the cursor."""
        if self.profile is None or self.shown is None or self.place < 0:
            return None
        return section_at(self.shown, self.profile, self.place)

    # opening

    def begin(self) -> None:
        """Find the struts of the open image, and go on from the correction in force where there is one."""
        current, image = self.session.current, self.image
        if current is None or image is None:
            return
        settings = current.settings.get(PROCEDURE) or StrutSettings()
        given = {role: current.companions[role] for role in ROLES[PROCEDURE] if role in current.companions}
        correction = current.in_force.get(PROCEDURE)
        name = "" if correction is None else correction.name

        def look() -> StrutReview:
            moves, note = _left_by(current, name)
            return StrutReview.start(image, settings, moves=moves, note=note, **given)

        def ready(review: StrutReview) -> None:
            self._job = None
            self.busy.emit("")
            if self.session.current is current:
                self._went_on_from = name
                self._show(review)

        def could_not(error: Exception) -> None:
            self._job = None
            self.busy.emit("")
            self.failed.emit(error)

        self.give_up()
        self.busy.emit("Looking for struts")
        job = self.session.run(look, returned=ready, failed=could_not)
        self._job = None if job.is_over else job

    def _show(self, review: StrutReview) -> None:
        self.review, self.strut, self.profile, self.place = review, 0, None, -1
        struts = self.struts
        self.changed.emit()
        if struts:
            self.choose(struts[0])
        self._look_for_leftover()
        self.saved.emit("", False)

    def choose(self, strut: int) -> None:
        """Bring a strut into view, with the cursor at its least section."""
        if self.review is None or strut == self.strut:
            return
        self.strut = strut
        self._lay_out(self.review.result, self.review.by_hand)
        self.strut_chosen.emit()
        if self.profile is not None and self.profile.least_section >= 0:
            self.go_to(self.profile.least_section)

    def step(self, by: int) -> None:
        """The next strut, or the one before, in the order of `struts`."""
        struts = self.struts
        if self.strut in struts:
            there = struts.index(self.strut) + by
            if 0 <= there < len(struts):
                self.choose(struts[there])

    def go_to(self, station: int) -> None:
        """Put the cursor at a station of the profile."""
        if self.profile is None or not 0 <= station < len(self.profile.s) or station == self.place:
            return
        self.place = station
        self.place_changed.emit(station)

    # edits

    def preview(self, handle: EdgeHandle, offset_px: float, taper_px: float) -> None:
        """Show what a drag under way would give."""
        if self.review is None:
            return
        move = self.review.move_of(handle, offset_px, taper_px)
        self._lay_out(self.review.preview(move), self.review.by_hand)
        self.previewed.emit()

    def forget_preview(self) -> None:
        """Show the edges as they stand again."""
        if self.review is not None:
            self._lay_out(self.review.result, self.review.by_hand)
            self.figures_changed.emit()

    def drag(self, handle: EdgeHandle, offset_px: float, taper_px: float | None) -> None:
        """Move an edge for good."""
        if self.review is not None:
            self._edited(self.review.drag(handle, offset_px, taper_px))

    def nudge(self, side: Side, by_px: float, taper_px: float | None) -> None:
        """Move an edge at the place of the cursor, without the mouse."""
        if self.review is None or self.profile is None or self.place < 0:
            return
        handle = self.review.handle_at(int(self.profile.station[self.place]), side)
        if handle.row_px != handle.row_px:  # not-a-number: no edge there
            self.said.emit("There is no edge at this place to move: go to another place along the strut.", "")
            return
        self.drag(handle, by_px, taper_px)

    def write_note(self, note: str) -> None:
        """The note that is saved with the correction."""
        if self.review is not None and note != self.review.note:
            self._edited(self.review.set_note(note))

    def undo(self) -> None:
        """Take the last step back."""
        if self.review is not None:
            self._edited(self.review.undo())

    def redo(self) -> None:
        """Take again what was taken back."""
        if self.review is not None:
            self._edited(self.review.redo())

    def _edited(self, edit: Any) -> None:
        if edit is None or self.review is None:
            return
        self._unsaved += 1
        self._keep(edit)
        self._lay_out(self.review.result, self.review.by_hand)
        self.figures_changed.emit()
        self.saved.emit("Not saved yet", False)

    def _lay_out(self, result: Result, by_hand: Any) -> None:
        self.shown = result
        self.profile = strut_profile(result, self.strut, by_hand) if self.strut else None

    # keeping and saving

    def name_reviewer(self, name: str) -> None:
        """Who corrects; remembered with the study."""
        self.reviewer = name
        if self.session.study is not None and name:
            remember(self.session.study.folder, reviewer=name)

    def save(self, reviewer: str, reason: str) -> None:
        """Save the corrections beside the automatic result, then measure with them."""
        from surfscan.study.reviews import save_review

        review, current, study = self.review, self.session.current, self.session.study
        if review is None or current is None or study is None or self.hindrance or self._is_saving:
            return
        self.name_reviewer(reviewer)
        edits, changes, held = review.edits(), review.changes().as_dict(), self._unsaved
        kept = 0 if self._keeper is None else self._keeper.count
        told: list[str] = []

        def write() -> Any:
            return save_review(
                study, current, PROCEDURE, reviewer=reviewer, reason=reason, edits=edits, changes=changes,
                tell=told.append,
            )  # fmt: skip

        def written(_: Any) -> None:
            if self.review is review:
                self._is_saving = False
                self._unsaved = max(self._unsaved - held, 0)
                self._note_saved(kept)
                words = "Not saved yet" if self._unsaved else " ".join(["Saved.", *told])
                self.saved.emit(words, False)
            self.session.item_changed.emit(current.entry.image_id)

        def could_not(error: Exception) -> None:
            self._is_saving = False
            self.saved.emit("Not saved", False)
            self.failed.emit(error)

        self._is_saving = True
        self.saved.emit("Saving", True)
        self.session.run(write, returned=written, failed=could_not)

    def recover(self) -> None:
        """Take up the unsaved work that was found, from where it began: what was saved meanwhile is in it."""
        found, current, review = self._leftover, self.session.current, self.review
        if found is None or current is None or review is None:
            return
        try:
            require_same(found.base, current.image.source.sha256, "")
            moves, note = _left_by(current, found.base.correction)
            again = StrutReview(review.picture, moves, note=note)
            again.replay(found.edits)
        except (InputError, ValueError, KeyError) as error:
            self.failed.emit(error)
            return
        if self._keeper is not None:
            self._keeper.close(has_unsaved=self.has_unsaved)
        self.review, self._went_on_from = again, found.base.correction
        self._keeper, self._unsaved, self._leftover = Keeper.going_on(found.path), found.unsaved_count, None
        strut, self.strut = self.strut, 0
        self.changed.emit()
        self.choose(strut)
        self.offered.emit("")
        self.saved.emit("Not saved yet", False)

    def drop_recovery(self) -> None:
        """Let the unsaved work that was found go, for good."""
        if self._leftover is not None:
            self._leftover.discard()
            self._leftover = None
        self.offered.emit("")

    def _look_for_leftover(self) -> None:
        self._leftover = None
        current, study = self.session.current, self.session.study
        if self.session.in_study and current is not None and study is not None:
            found, faults = leftovers_on(study.folder, current.entry.image_id, PROCEDURE)
            for fault in faults:
                self.failed.emit(fault)
            self._leftover = found[0] if found else None
        self.offered.emit("" if self._leftover is None else self._leftover.words)

    def _keep(self, edit: Any) -> None:
        """Put an edit into the journal, which begins with the first."""
        current, study = self.session.current, self.session.study
        if not self.session.in_study or current is None or study is None:
            return
        if self._keeper is None:
            base = Base(
                current.entry.image_id, PROCEDURE, current.image.source.sha256, correction=self._went_on_from
            )
            self._keeper = Keeper(study.folder, self.reviewer, base)
        try:
            self._keeper.append(edit.as_dict())
        except InputError as error:
            self.failed.emit(error)

    def _note_saved(self, count: int) -> None:
        """Put into the journal that a save holds its first edits, not those made while it was under way."""
        try:
            if self._keeper is not None:
                self._keeper.note_saved(count)
        except InputError as error:
            self.failed.emit(error)

    # coming and going

    def _on_opened(self, current: OpenedImage) -> None:
        self._clear()
        self.changed.emit()
        if self.shows_struts and self.image is not None:
            self.begin()

    def _on_closing(self, _: OpenedImage) -> None:
        self._clear()
        self.changed.emit()

    def _clear(self) -> None:
        self.give_up()
        if self._keeper is not None:
            self._keeper.close(has_unsaved=self.has_unsaved)
        self.review, self.profile, self.shown = None, None, None
        self.strut, self.place, self._unsaved = 0, -1, 0
        self._keeper, self._leftover, self._is_saving, self._went_on_from = None, None, False, ""
        self.offered.emit("")

    def leave(self) -> None:
        """Nobody looks any more: keep what is unsaved for the next start, and hear no more of the session."""
        self.session.image_opened.disconnect(self._on_opened)
        self.session.image_closing.disconnect(self._on_closing)
        self._clear()

    def give_up(self) -> None:
        """Leave the search that is under way."""
        if self._job is not None:
            self._job.cancel()
            self._job = None
            self.busy.emit("")


def _left_by(current: OpenedImage, name: str) -> tuple[EdgeMoves, str]:
    """Moves and note of a save of the open image; none where no name is given.

    Raises
    ------
    InputError
        If there is no such save any more.
    """
    if not name:
        return EdgeMoves(), ""
    for saved in current.corrections.get(PROCEDURE, ()):
        if saved.name == name:
            return EdgeMoves.from_dict(saved.edits), str(saved.edits.get("note", ""))
    raise InputError(
        current.entry.image_id,
        f"the correction that the edits went on from is gone ({name})",
        "Bring its file back, or let the edits go",
    )
