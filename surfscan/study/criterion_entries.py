"""What a manifest says of acceptance: a figure, its limits, and the groups that they hold for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from difflib import get_close_matches
from itertools import combinations
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, field_validator, model_validator

from surfscan.columns import FIGURES_OF, GROUP_FIGURES
from surfscan.comparison.acceptance import Limits
from surfscan.comparison.rates import METHODS, Method
from surfscan.study.entry_base import Finite, ManifestTable, NotNegative, Text, as_tuple, own_fault

if TYPE_CHECKING:
    from surfscan.study.entries import Group

RATE_FIGURES: dict[str, Method] = {f"{method.replace(' ', '_')}_rate_mm_per_y": method for method in METHODS}
"""Figure -> method of the rate that it is: rates of different methods are never one figure."""

CRITERION_FIGURES: dict[str, tuple[str, str]] = {
    **{name: GROUP_FIGURES[name] for names in FIGURES_OF.values() for name in names},
    **{name: ("mm/y", f"penetration rate by {method}") for name, method in RATE_FIGURES.items()},
}
"""All figures that a criterion may name: name -> (unit, words)."""

GUARD_FACTOR = 1.0

_MAY_BE_BELOW_NONE = (
    "strut_loss_fraction",
    "width_penetration_um",
    "strut_width_rate_mm_per_y",
    "section_rate_mm_per_y",
)
"""Losses against a drawing: a part wider than drawn has lost less than nothing."""

_INTERVAL_FREE = ("least_section_fraction",)
"""Figures that never have an interval."""

Pair = Annotated[tuple[Finite, Finite], BeforeValidator(as_tuple)]
Texts = Annotated[tuple[Text, ...], BeforeValidator(as_tuple), Field(min_length=1)]


class CriterionEntry(ManifestTable):
    """A limit on one figure."""

    figure: Text = Field(
        description="A figure of the table of groups, such as 'least_section_left_fraction', or a rate by "
        "one method, such as 'mass_loss_rate_mm_per_y'."
    )
    at_most: Finite | None = Field(None, description="Upper limit, in the unit of the figure.")
    at_least: Finite | None = Field(None, description="Lower limit.")
    between: Pair | None = Field(None, description="[low, high], in place of the two.")
    groups: Texts | None = Field(
        None, description="Groups that it holds for; left out, all that are no other group's baseline."
    )
    of: Literal["specimens", "mean"] = Field(
        "specimens", description="Whether each specimen is judged, or the mean of a group over its specimens."
    )
    rule: Literal["guarded", "simple"] = Field(
        "guarded",
        description="'guarded': pass or fail only where the figure keeps its guard band from the limit, else "
        "undecided; 'simple': by the figure alone.",
    )
    guard_factor: NotNegative = Field(
        GUARD_FACTOR, description="Guard band over the expanded uncertainty (95 %) of the figure."
    )
    note: str = ""

    @field_validator("figure")
    @classmethod
    def _is_known(cls, name: str) -> str:
        if name not in CRITERION_FIGURES:
            near = get_close_matches(name, CRITERION_FIGURES, 1)
            hint = f"Did you mean {near[0]!r}? " if near else ""
            raise own_fault(
                f"there is no figure {name!r}", f"{hint}Write one of {', '.join(CRITERION_FIGURES)}"
            )
        return name

    @field_validator("between", mode="before")
    @classmethod
    def _is_a_pair(cls, given: Any) -> Any:
        if given is None or (isinstance(given, list | tuple) and len(given) == 2):
            return given
        raise own_fault("between needs a lower and an upper limit", "Write between = [low, high]")

    @field_validator("groups", mode="before")
    @classmethod
    def _are_names(cls, given: Any) -> Any:
        if given is None or (isinstance(given, list | tuple) and given):
            return given
        remedy = f"Write groups = [{given!r}]".replace("'", '"') if isinstance(given, str) and given else ""
        raise own_fault(
            "groups must be a list of names",
            remedy or 'Write groups = ["..."], or leave it out for all groups',
        )

    @model_validator(mode="after")
    def _has_limits_that_can_be(self) -> Self:
        stated = [name for name in ("at_most", "at_least", "between") if getattr(self, name) is not None]
        if not stated:
            raise own_fault(
                f"the criterion on {self.figure!r} has no limit",
                "Add at_most = ..., at_least = ... or between = [..., ...]",
                "figure",
            )
        if len(stated) > 1:
            low, high = self._pair()
            both = (
                f"between = [{low:g}, {high:g}]" if stated == ["at_most", "at_least"] and low < high else ""
            )
            raise own_fault(
                f"{' and '.join(stated)} stand in one criterion",
                f"Write {both} in place of the two" if both else "Keep the one that holds",
                stated[-1],
            )
        if self.between is not None and not self.between[0] < self.between[1]:
            raise own_fault(
                f"between = [{self.between[0]:g}, {self.between[1]:g}] holds nothing",
                "Write the lower limit first, the higher one second",
                "between",
            )
        self._check_what_the_figure_can_be(stated[0])
        if self.rule == "simple" and "guard_factor" in self.model_fields_set:
            raise own_fault(
                "guard_factor belongs to the guarded rule, and rule is 'simple'",
                'Take it out, or write rule = "guarded"',
                "guard_factor",
            )
        if self.rule == "guarded" and self.figure in _INTERVAL_FREE:
            raise own_fault(
                f"{self.figure} has no interval, so that no guarded rule can decide on it",
                'Write rule = "simple", or figure = "least_section_left_fraction"',
                "rule" if "rule" in self.model_fields_set else "figure",
            )
        return self

    def _pair(self) -> tuple[float, float]:
        return self.at_least or 0.0, self.at_most or 0.0

    def _check_what_the_figure_can_be(self, key: str) -> None:
        """Refuse limits beyond what the figure can be: they would pass or fail whatever is measured."""
        unit, words = CRITERION_FIGURES[self.figure]
        limits = self.between or (getattr(self, key),)
        if unit == "1" and max(limits) > 1:
            percent = max(limits) / 100
            raise own_fault(
                f"{key} = {max(limits):g} is above 1, and the {words} is a fraction",
                f"Write {max(limits):g} % as {percent:g}",
                key,
            )
        if min(limits) < 0 and self.figure not in _MAY_BE_BELOW_NONE:
            raise own_fault(
                f"{key} = {min(limits):g} is below 0, and the {words} cannot be", "Write 0 or more", key
            )

    @property
    def limits(self) -> Limits:
        """What the figure must not leave."""
        if self.between is not None:
            return Limits(*self.between)
        return Limits(self.at_least, self.at_most)

    @property
    def unit(self) -> str:
        """Unit of the figure; "1" for a pure number."""
        return CRITERION_FIGURES[self.figure][0]

    @property
    def words(self) -> str:
        """The figure in words."""
        return CRITERION_FIGURES[self.figure][1]

    @property
    def method(self) -> Method | None:
        """Method of the rate that it limits; None for other figures."""
        return RATE_FIGURES.get(self.figure)

    @property
    def kind(self) -> str | None:
        """What images show that the figure is measured on; None for rates that need none."""
        return next((kind for kind, names in FIGURES_OF.items() if self.figure in names), None)


def judged_groups(criterion: CriterionEntry, groups: Sequence[Group]) -> tuple[str, ...]:
    """Groups that a criterion holds for, in the order of the study.

    Parameters
    ----------
    criterion : CriterionEntry
    groups : sequence of Group
        All of the study.

    Returns
    -------
    tuple of str
        Those it names; where it names none, all that are no other group's baseline.
    """
    if criterion.groups is not None:
        return tuple(group.name for group in groups if group.name in criterion.groups)
    baselines = {group.baseline for group in groups}
    return tuple(group.name for group in groups if group.name not in baselines)


def criterion_clashes(
    criteria: Mapping[int, CriterionEntry], groups: Sequence[Group]
) -> Iterator[tuple[int, int, str, str]]:
    """Criteria that say the same twice or leave nothing between them.

    Parameters
    ----------
    criteria : mapping of int to CriterionEntry
        By number in the manifest.
    groups : sequence of Group

    Yields
    ------
    first, second : int
        Numbers of the two; the fault stands at the second.
    what, remedy : str
    """
    for (i, one), (k, two) in combinations(sorted(criteria.items()), 2):
        if one.figure != two.figure or one.of != two.of:
            continue
        both = [name for name in judged_groups(one, groups) if name in judged_groups(two, groups)]
        if not both:
            continue
        a, b = one.limits, two.limits
        for lower, upper in ((a.at_least, b.at_most), (b.at_least, a.at_most)):
            if lower is not None and upper is not None and lower >= upper:
                yield (
                    i,
                    k,
                    f"{two.figure} is to be at least {lower:g} and at most {upper:g} in group {both[0]!r}: "
                    "no value does both",
                    "Correct one of the two limits, or name other groups",
                )
                break
        else:
            if any(x is not None and y is not None for x, y in _sides(a, b)):
                yield (
                    i,
                    k,
                    f"{two.figure} is limited twice on the same side for group {both[0]!r}",
                    "Keep the limit that holds, or name other groups",
                )


def _sides(a: Limits, b: Limits) -> tuple[tuple[Any, Any], tuple[Any, Any]]:
    return (a.at_least, b.at_least), (a.at_most, b.at_most)
