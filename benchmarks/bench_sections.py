"""How well `surfscan` measures polished cross-sections: metal, original area, fraction, penetration.

What: relative error of metal area and of original area, error of the remaining fraction, whether its 95 %
interval holds the truth, error of the greatest penetration, by where the original outline comes from. How:
`surfscan.procedures.measure_section` with default settings. On what: seeded sections of
`synthetic_sections.py`, loss 5 to 60 %, seeds from --first-seed on.

    python benchmarks/bench_sections.py [--sections 30] [--first-seed 500] [--outline drawn before product]
"""

from __future__ import annotations

import argparse
import time

import numpy as np
from synthetic_sections import SectionRecipe, SyntheticSection, make_section, random_recipe

from surfscan.images import Calibration, Micrograph, Source
from surfscan.procedures import Result, SectionSettings, measure_section

UM_PER_PX = 0.5
OUTLINES = ("drawn", "before", "product")
TARGETS = {"metal": 0.01, "original": 0.015, "fraction": 0.01}


def as_micrograph(pixels: np.ndarray, relative_uncertainty: float = 1e-6) -> Micrograph:
    """A picture as if opened from a file with its pixel size."""
    return Micrograph(
        pixels, Calibration(UM_PER_PX, UM_PER_PX, relative_uncertainty, "made so"), Source("synthetic")
    )


def settings_for(recipe: SectionRecipe) -> SectionSettings:
    """The drawn size of a recipe, exact."""
    foot = recipe.width_px * UM_PER_PX
    top = None
    if recipe.shape == "trapezoid":
        foot, top = foot / 0.9, foot * 0.8 / 0.9
    return SectionSettings.model_validate(
        {
            "drawn_shape": recipe.shape,
            "drawn_width_um": foot,
            "drawn_top_width_um": top,
            "drawn_thickness_um": recipe.thickness_px * UM_PER_PX,
            "drawn_relative_uncertainty": 0.0,
        }
    )


def measured(made: SyntheticSection, outline: str) -> Result:
    """One section measured with its original outline from `outline`."""
    image = as_micrograph(made.pixels)
    if outline == "drawn":
        return measure_section(image, settings_for(made.recipe))
    return measure_section(image, before=as_micrograph(made.before) if outline == "before" else None)


def errors(made: SyntheticSection, result: Result) -> dict[str, float]:
    """Errors of one section; not-a-number where nothing was measured."""
    found = result.summary
    if found["remaining_fraction"] is None:
        return dict.fromkeys(("metal", "original", "fraction", "held", "deepest"), np.nan)
    low, high = found["remaining_fraction_ci95"] or (np.nan, np.nan)
    return {
        "metal": found["metal_area_px"] / made.metal_area_px - 1,
        "original": found["original_area_px"] / made.original_area_px - 1,
        "fraction": found["remaining_fraction"] - made.remaining_fraction,
        "held": np.nan if np.isnan(low) else float(low <= made.remaining_fraction <= high),
        "deepest": found["max_penetration_px"] - made.max_penetration_px,
    }


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sections", type=int, default=30)
    parser.add_argument("--first-seed", type=int, default=500)
    parser.add_argument("--outline", nargs="*", default=list(OUTLINES), choices=OUTLINES)
    parser.add_argument("--each", action="store_true", help="also print what misses a target")
    given = parser.parse_args()
    rows: dict[str, list[dict[str, float]]] = {name: [] for name in given.outline}
    took: list[float] = []
    for seed in range(given.first_seed, given.first_seed + given.sections):
        made = make_section(random_recipe(seed))
        for name in given.outline:
            start = time.perf_counter()
            result = measured(made, name)
            took.append(time.perf_counter() - start)
            rows[name].append(errors(made, result))
            bad = [k for k, limit in TARGETS.items() if not abs(rows[name][-1][k]) <= limit]
            if given.each and bad and name != "product":
                figures = " ".join(f"{k} {v:+.4f}" for k, v in rows[name][-1].items())
                r = made.recipe
                print(
                    f"seed {seed} {name} {r.order} found {result.summary['grey_order_found']} {r.shape} "
                    f"loss {1 - r.remaining:.2f} blur {r.blur_px:.1f} noise {r.noise:.3f}: {figures}",
                    flush=True,
                )
    print(f"{'outline':9}{'':10}{'mean':>9}{'rms':>9}{'95 %':>9}{'worst':>9}{'within':>8}")
    for name in given.outline:
        for key in ("metal", "original", "fraction", "deepest"):
            value = np.array([row[key] for row in rows[name]])
            size = np.abs(value)
            limit = TARGETS.get(key, 2.0)
            print(
                f"{name:9}{key:10}{np.nanmean(value):9.4f}{np.sqrt(np.nanmean(value**2)):9.4f}"
                f"{np.nanpercentile(size, 95):9.4f}{np.nanmax(size):9.4f}"
                f"{np.sum(size <= limit):5d}/{len(value)}"
            )
        held = [row["held"] for row in rows[name] if np.isfinite(row["held"])]
        if held:
            print(f"{name:9}interval holds {100 * np.mean(held):.0f} %")
    print(f"median {np.median(took):.2f} s a section")


if __name__ == "__main__":
    main()
