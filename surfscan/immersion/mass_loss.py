"""Mass loss by repeated cleaning: how much was corroded, how much the cleaning itself took off.

After ASTM G1-03, clause 7.1.2 and ISO 8407 (from memory): the loss after each of several equal cleaning
cycles is drawn against their number. First it rises as product comes off; then along a line whose slope is
the metal that one cycle removes. That line is followed back to zero cycles.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from surfscan.estimates.groups import t_factor
from surfscan.immersion.estimates import RateEstimate, rate_of_mass, refused_rate
from surfscan.immersion.product_tail import tail_range
from surfscan.immersion.settings import ImmersionSettings
from surfscan.materials.material import Value

LEAST_LINE_CYCLES = 3
"""Two points always lie on a line; three can tell (common practice, no source)."""

_NORMAL_FACTOR = 1.959963984540054
_STRAIGHT_CHI = 2.5758293035489004  # two-sided 1 % of the normal distribution


@dataclass(frozen=True)
class CleaningLine:
    """The line of base-metal removal.

    Attributes
    ----------
    intercept_mg : float
        Loss at zero cycles: what had corroded.
    intercept_uncertainty_mg : float
        Standard uncertainty, that of the weighing before exposure included.
    slope_mg_per_cycle, slope_uncertainty_mg_per_cycle : float
        Metal that one cleaning cycle removes.
    degrees_of_freedom : float
        Infinite where the balance explains the scatter, else number of cycles on the line less 2.
    first_cycle, last_cycle : int
        Cycles on the line; those before the first still removed product.
    residuals_mg : ndarray of shape (last_cycle - first_cycle + 1,)
    scatter_mg : float
        Root of the residual sum of squares over its degrees of freedom.
    is_straight : bool
        Whether the balance explains the scatter.
    """

    intercept_mg: float
    intercept_uncertainty_mg: float
    slope_mg_per_cycle: float
    slope_uncertainty_mg_per_cycle: float
    degrees_of_freedom: float
    first_cycle: int
    last_cycle: int
    residuals_mg: np.ndarray
    scatter_mg: float
    is_straight: bool


@dataclass(frozen=True)
class MassLoss:
    """Mass lost by corrosion, and the rate.

    Attributes
    ----------
    estimate : RateEstimate
    how : str
        "extrapolated to zero cycles", "blank subtracted", or "" where refused.
    loss_mg : float or None
        Metal lost by corrosion, mg.
    loss_uncertainty_mg : float or None
        Its standard uncertainty; in an extrapolated one, at least what a tail of product may add.
    losses_mg : ndarray of shape (n,)
        Total loss after each cycle.
    line : CleaningLine or None
    product_cycles : int or None
        Leading cycles that still removed product.
    loss_at_bend_mg : float or None
        Total loss at the first cycle on the line. ISO 8407 puts the true loss between the extrapolated one
        and this, by how well the product sheltered the metal from the cleaning (from memory).
    blank_corrected_mg : float or None
        Loss after the last cycle less that of the blank, in proportion to area.
    blank_mg_per_cycle : float or None
        Mean loss of the blank in one cycle, in proportion to area.
    """

    estimate: RateEstimate
    how: str
    loss_mg: float | None
    loss_uncertainty_mg: float | None
    losses_mg: np.ndarray
    line: CleaningLine | None = None
    product_cycles: int | None = None
    loss_at_bend_mg: float | None = None
    blank_corrected_mg: float | None = None
    blank_mg_per_cycle: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """Ready for JSON."""
        out = {name: getattr(self, name) for name in self.__dataclass_fields__}
        out["estimate"] = self.estimate.as_dict()
        if self.line is not None:
            out["line"] = {name: getattr(self.line, name) for name in self.line.__dataclass_fields__}
        return out


def mass_loss_rate_of_cycles(
    initial_g: float,
    cleaned_g: ArrayLike,
    *,
    area_cm2: float,
    hours: float,
    density: Value | None,
    area_relative_uncertainty: float | None = None,
    blank_g: Sequence[float] = (),
    blank_area_cm2: float | None = None,
    settings: ImmersionSettings | None = None,
) -> MassLoss:
    """Rate from the mass before exposure and that after each cleaning cycle.

    Parameters
    ----------
    initial_g : float
        Mass before exposure, g.
    cleaned_g : array_like of shape (n,)
        Mass after the 1st, 2nd ... equal cleaning cycle, g.
    area_cm2 : float
        Wetted surface.
    hours : float
        Immersed time.
    density : Value or None
    area_relative_uncertainty : float, optional
        Relative standard uncertainty.
    blank_g : sequence of float, optional
        An uncorroded blank of the same metal through the same cycles: its mass before the first and after
        each, g.
    blank_area_cm2 : float, optional
        Its surface; that of the specimen where not given.
    settings : ImmersionSettings, optional

    Returns
    -------
    MassLoss
        By extrapolation where three cycles or more allow it, else by the blank. Refused, with the reason in
        the estimate, where the specimen gained mass, neither way is open, the last cycles do not lie on a
        line, or product was still coming off.

    Raises
    ------
    ValueError
        If a mass, the area or the time is not above 0, or the blank was weighed a different number of times.
    """
    chosen = settings or ImmersionSettings()
    masses = np.asarray(cleaned_g, dtype=np.float64)
    blank = np.asarray(blank_g, dtype=np.float64)
    _refuse_nonsense(initial_g, masses, blank, area_cm2, hours, blank_area_cm2)
    u = chosen.balance_uncertainty_mg
    losses = 1000 * (initial_g - masses)
    share = area_cm2 / (blank_area_cm2 or area_cm2)
    blank_total = 1000 * (blank[0] - blank[-1]) * share if blank.size else None
    corrected = None if blank_total is None else float(losses[-1] - blank_total)
    per_cycle = None if blank_total is None else float(blank_total / len(losses))

    if losses[-1] < -_NORMAL_FACTOR * u * math.sqrt(2):
        found = _Loss(
            f"The specimen weighs {-losses[-1]:.3g} mg more than before exposure: product is still on it, or "
            "masses were swapped. Clean it further and weigh again."
        )
    elif len(losses) >= LEAST_LINE_CYCLES:
        found = _by_line(losses, chosen, None if per_cycle is None else (per_cycle, share))
    else:
        found = _by_blank(corrected, len(losses), u * math.sqrt(2 + 2 * share**2))
    if not found.refused and found.mg < -_NORMAL_FACTOR * found.uncertainty_mg:
        why = (
            f"The loss by corrosion comes out as {found.mg:.3g} mg, a gain: the cleaning removed more metal "
            "than is missing, or product is still on the specimen."
        )
        found = replace(found, refused=why)
    if found.refused:
        estimate = refused_rate("mass loss", found.refused, 0.0, hours)
        return MassLoss(
            estimate,
            "",
            None,
            None,
            losses,
            found.line,
            blank_corrected_mg=corrected,
            blank_mg_per_cycle=per_cycle,
        )
    by_blank = found.line is None
    estimate = rate_of_mass(
        "mass loss",
        found.mg,
        found.uncertainty_mg,
        area_cm2=area_cm2,
        area_relative_uncertainty=area_relative_uncertainty,
        starts_h=0.0,
        ends_h=hours,
        time_uncertainty_h=chosen.time_uncertainty_h,
        density=density,
        degrees_of_freedom=found.degrees_of_freedom,
        mass_cause="weighing and cleaning",
        bias="reads low" if by_blank else "",
        reasons=("product that was left on the specimen counts as metal",) if by_blank else (),
        warnings=found.warnings,
    )
    first = None if found.line is None else found.line.first_cycle
    return MassLoss(
        estimate,
        "blank subtracted" if by_blank else "extrapolated to zero cycles",
        found.mg,
        found.uncertainty_mg,
        losses,
        found.line,
        None if first is None else first - 1,
        None if first is None else float(losses[first - 1]),
        corrected,
        per_cycle,
    )


@dataclass(frozen=True)
class _Loss:
    """Metal lost by corrosion, or why it is not known."""

    refused: str = ""
    mg: float = math.nan
    uncertainty_mg: float = math.nan
    degrees_of_freedom: float = math.inf
    line: CleaningLine | None = None
    warnings: tuple[str, ...] = ()


def _by_line(losses: np.ndarray, settings: ImmersionSettings, blank: tuple[float, float] | None) -> _Loss:
    """The line followed back to zero cycles; `blank` is its loss in one cycle and the ratio of areas."""
    u, largest = settings.balance_uncertainty_mg, settings.largest_line_departure
    line = base_metal_line(losses, u)
    loss, line_u = line.intercept_mg, line.intercept_uncertainty_mg
    warnings = []
    if not line.is_straight:
        moved = line.last_cycle * line.scatter_mg * math.sqrt(6)
        if moved > largest * abs(loss):
            why = (
                f"The last {LEAST_LINE_CYCLES} cleaning cycles do not lie on a line: they scatter by "
                f"{line.scatter_mg:.2g} mg where the balance explains {u:.2g} mg, and that could move the "
                f"loss by {moved:.2g} of {loss:.3g} mg. Clean on, in equal cycles, until the loss of each "
                "is the same."
            )
            return _Loss(why, line=line)
        warnings.append(
            f"The cycles scatter by {line.scatter_mg:.2g} mg about their line where the balance explains "
            f"{u:.2g} mg; the interval is the wider for it."
        )
    least, is_faster = 0.0, False
    if blank is not None:
        doubt = u * math.sqrt(2) * blank[1] / len(losses)
        least = max(blank[0] - 2 * doubt, 0.0)
        is_faster = line.slope_mg_per_cycle - blank[0] > max(
            2 * math.hypot(line.slope_uncertainty_mg_per_cycle, doubt), 0.25 * line.slope_mg_per_cycle
        )
    noise = u if line.is_straight else line.scatter_mg
    tail = tail_range(losses, noise, least, is_faster_than_blank=is_faster)
    if tail.is_sure and tail.is_at_bound:
        why = (
            f"Product came off so slowly that no end of it is in sight: {len(losses)} cycles cannot tell it "
            f"from base metal, and {loss:.3g} mg, by the line through the last, is only a least loss. Clean "
            "on, in equal cycles, until the loss of each is that of a blank."
        )
        return _Loss(why, line=line)
    if tail.best_mg - loss > max(largest * abs(loss), 2 * line_u) and (
        tail.is_sure or not tail.is_slow_allowed
    ):
        why = (
            f"Product was still coming off in the last cycles: the line through them gives {loss:.3g} mg, "
            f"and with the rest of the product that they seem to hold {tail.best_mg:.3g} mg. Clean on, in "
            "equal cycles, until the loss of each is the same."
        )
        return _Loss(why, line=line)
    allowance = max(tail.high_mg - loss, loss - tail.low_mg) / _factor(line.degrees_of_freedom)
    if allowance > 2 * line_u:
        warnings.append(
            f"The interval allows for product that may have come off to the end: by {allowance:.2g} mg "
            f"(k = 1), by the line alone {line_u:.2g} mg. More cycles narrow it"
            + (", and a blank through the same cycles." if tail.is_slow_allowed and blank is None else ".")
        )
    if blank is None and not tail.is_slow_allowed and line.slope_mg_per_cycle > 2 * u:
        warnings.append(
            "It is taken that a cycle leaves no more than half of the product it finds. Product that comes "
            "off more slowly looks like metal: at nine tenths left, up to "
            f"{10 * line.slope_mg_per_cycle:.2g} mg more had corroded. A blank through the same cycles tells."
        )
    warnings += _line_warnings(line, losses, blank, u)
    return _Loss("", loss, max(line_u, allowance), line.degrees_of_freedom, line, tuple(warnings))


def _by_blank(corrected_mg: float | None, cycles: int, uncertainty_mg: float) -> _Loss:
    """The loss less that of the blank, where there is one."""
    if corrected_mg is None:
        few = "One cleaning cycle" if cycles == 1 else f"{cycles} cleaning cycles"
        return _Loss(
            f"{few} and no blank: the metal that cleaning removed cannot be told from what had corroded. "
            f"Clean in {LEAST_LINE_CYCLES} equal cycles or more, or clean an uncorroded blank alongside."
        )
    warning = (
        f"From {cycles} cleaning cycle{'s' * (cycles > 1)} it cannot be seen whether all product came off. "
        "Clean and weigh again until the loss of each cycle is that of the blank."
    )
    return _Loss("", corrected_mg, uncertainty_mg, warnings=(warning,))


def base_metal_line(losses_mg: np.ndarray, balance_uncertainty_mg: float) -> CleaningLine:
    """The line of base-metal removal through the last cleaning cycles, by least squares.

    It is laid through the last three cycles; then each earlier one joins, going back one at a time, as long
    as its loss lies within the 95 % prediction interval of the line through those after it, given the
    balance. Where the balance does not explain how the last three scatter (1 % level), only these three make
    the line.

    Parameters
    ----------
    losses_mg : ndarray of shape (n,)
        Total loss after each cycle, three or more.
    balance_uncertainty_mg : float
        Standard uncertainty of one weighing.

    Returns
    -------
    CleaningLine

    Raises
    ------
    ValueError
        If there are fewer than three cycles.
    """
    count = len(losses_mg)
    if count < LEAST_LINE_CYCLES:
        raise ValueError(f"a line needs {LEAST_LINE_CYCLES} cleaning cycles, got {count}")
    u = balance_uncertainty_mg
    cycles = np.arange(1.0, count + 1)
    start = count - LEAST_LINE_CYCLES
    intercept, slope, residuals = _least_squares(cycles[start:], losses_mg[start:])
    is_straight = bool(math.sqrt(residuals @ residuals) <= _STRAIGHT_CHI * u)
    while is_straight and start > 0:
        on_line = cycles[start:]
        leverage = _leverage(on_line, cycles[start - 1])
        miss = losses_mg[start - 1] - (intercept + slope * cycles[start - 1])
        if abs(miss) > _NORMAL_FACTOR * u * math.sqrt(1 + leverage):
            break
        start -= 1
        intercept, slope, residuals = _least_squares(cycles[start:], losses_mg[start:])
    on_line = cycles[start:]
    freedom = len(on_line) - 2
    scatter = math.sqrt(residuals @ residuals / freedom)
    noise = u if is_straight else scatter
    spread = float(np.sum((on_line - on_line.mean()) ** 2))
    return CleaningLine(
        intercept,
        math.sqrt(noise**2 * _leverage(on_line, 0.0) + u**2),
        slope,
        noise / math.sqrt(spread),
        math.inf if is_straight else float(freedom),
        start + 1,
        count,
        residuals,
        scatter,
        is_straight,
    )


def _least_squares(x: np.ndarray, y: np.ndarray) -> tuple[float, float, np.ndarray]:
    centred = x - x.mean()
    slope = float(centred @ y / (centred @ centred))
    intercept = float(y.mean() - slope * x.mean())
    return intercept, slope, y - (intercept + slope * x)


def _leverage(x: np.ndarray, at: float) -> float:
    """Variance of the line at a place, in units of the variance of one point."""
    centred = x - x.mean()
    return float(1 / len(x) + (at - x.mean()) ** 2 / (centred @ centred))


def _factor(degrees_of_freedom: float) -> float:
    return _NORMAL_FACTOR if math.isinf(degrees_of_freedom) else t_factor(degrees_of_freedom)


def _line_warnings(
    line: CleaningLine, losses: np.ndarray, blank: tuple[float, float] | None, u: float
) -> list[str]:
    out = []
    slope, slope_u = line.slope_mg_per_cycle, line.slope_uncertainty_mg_per_cycle
    if slope < -_factor(line.degrees_of_freedom) * slope_u:
        out.append(
            f"The specimen gained {-slope:.2g} mg in each cleaning cycle: dry it fully, and check the "
            "balance."
        )
    loss, bend = line.intercept_mg, float(losses[line.first_cycle - 1])
    if bend - loss > 2 * line.intercept_uncertainty_mg and bend - loss > 0.05 * abs(loss):
        out.append(
            f"Cleaning removed {bend - loss:.2g} mg of metal by the cycle at which product was off, if it "
            f"attacked from the start; product may have sheltered the metal, and then up to {bend:.3g} mg "
            "had corroded. A milder cleaning narrows this."
        )
    if blank is not None:
        blank_per_cycle, share = blank
        apart = math.hypot(slope_u, u * math.sqrt(2) * share / len(losses))
        if abs(slope - blank_per_cycle) > 2 * apart and abs(slope - blank_per_cycle) > 0.25 * abs(slope):
            out.append(
                f"The specimen lost {slope:.2g} mg and the blank {blank_per_cycle:.2g} mg in each cycle: "
                "either product was still coming off, or the corroded surface is cleaned away at another "
                "rate."
            )
    return out


def _refuse_nonsense(
    initial_g: float,
    masses: np.ndarray,
    blank: np.ndarray,
    area_cm2: float,
    hours: float,
    blank_area_cm2: float | None,
) -> None:
    if masses.ndim != 1 or masses.size == 0:
        raise ValueError("the mass after at least one cleaning is needed")
    if not (np.isfinite([initial_g, *masses, *blank]).all() and min([initial_g, *masses, *blank]) > 0):
        raise ValueError("masses must be numbers above 0, in g")
    for name, value in (("area_cm2", area_cm2), ("hours", hours), ("blank_area_cm2", blank_area_cm2)):
        if value is not None and not 0 < value < math.inf:
            raise ValueError(f"{name} must be above 0, got {value!r}")
    if blank.size and blank.size != masses.size + 1:
        raise ValueError(
            f"the blank has {blank.size} weighings; {masses.size + 1} are needed: before the first cleaning "
            "and after each"
        )
