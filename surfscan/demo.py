"""The demo study: where it lies, a copy to work in, and what was measured beside what is true."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path

from surfscan.errors import InputError
from surfscan.report.rate_records import gather_rates
from surfscan.report.rate_truth import RATE_FIGURES, compare_rates_with_truth
from surfscan.report.records import gather
from surfscan.report.rounding import significant
from surfscan.report.truth import FIGURES, TruthComparison, compare_with_truth
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study

STUDY_FILE = "study.toml"
TRUTH_FILE = "truth.csv"
RATES_TRUTH_FILE = "truth_rates.csv"
FOLDERS = ("images", "heights", "struts", "sections", "sweeps", "logs")
PARTS = (STUDY_FILE, TRUTH_FILE, RATES_TRUTH_FILE, *FOLDERS)
"""What the demo study consists of; pyproject.toml puts the same into the wheel."""

_HEADINGS = {
    "pit_count": "pits",
    "pit_density_per_mm2": "pits per mm²",
    "pitted_area_fraction": "pitted area %",
    "degraded_area_fraction": "degraded area %",
    "max_depth_um": "greatest depth µm",
    "mean_depth_10_deepest_um": "ten deepest µm",
    "volume_per_area_um": "volume per area µm",
    "mean_penetration_um": "mean penetration µm",
    "max_penetration_um": "greatest penetration µm",
    "Sq_um": "Sq µm",
    "mean_width_um": "mean width µm",
    "min_width_um": "least width µm",
    "loss_fraction": "loss of width %",
    "least_section_equal_loss_fraction": "least section, equal loss %",
    "metal_area_um2": "metal µm²",
    "original_area_um2": "original µm²",
    "remaining_fraction": "remaining %",
    "Ecorr_V": "Ecorr V",
    "icorr_uA_per_cm2": "icorr µA/cm²",
    "anodic_slope_mV_per_decade": "anodic mV/decade",
    "cathodic_slope_mV_per_decade": "cathodic mV/decade",
    "polarization_resistance_ohm_cm2": "Rp ohm cm²",
    "breakdown_V": "breakdown V",
    "breakdown_at_least_V": "no breakdown up to V",
    "protection_V": "protection V",
    "rate_mm_per_y": "rate mm/y",
    "loss_mg": "loss mg",
    "immersed_h": "immersed h",
    "in_range_h": "in range h",
    "acid_rate_mm_per_y": "acid mm/y",
    "resistance_rise_fraction": "rise of resistance %",
}
_KINDS = {
    "surface": "image",
    "heights": "height map",
    "strut": "strut picture",
    "section": "section picture",
    "sweep": "sweep",
    "mass_loss": "weighing",
    "gas": "gas reading",
    "exposure": "rig log",
}


def sample_folder() -> Path:
    """Folder of the demo study: inside the installed package, else beside it in a checkout.

    Raises
    ------
    InputError
        If neither is there.
    """
    package = Path(__file__).resolve().parent
    for folder in (package / "_sample_images", package.parent / "sample_images"):
        if (folder / STUDY_FILE).is_file():
            return folder
    raise InputError(package, "the demo study is not in this installation", "Install surfscan again")


def copy_study(folder: Path) -> Path:
    """Copy the demo study into a folder that is new, empty or holds the demo already.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    Path
        The copy's study.toml.

    Raises
    ------
    InputError
        If the folder holds anything else, or cannot be written to.
    """
    source = sample_folder()
    study = folder / STUDY_FILE
    if folder.exists() and not folder.is_dir():
        raise InputError(folder, "is a file", "Name a folder for the demo")
    if study.is_file():
        if study.read_bytes() == (source / STUDY_FILE).read_bytes():
            return study
        raise InputError(folder, "holds another study", "Name a new or an empty folder")
    if folder.is_dir() and not {entry.name for entry in folder.iterdir()} <= set(PARTS):
        raise InputError(folder, "holds something other than the demo", "Name a new or an empty folder")
    try:
        for name in FOLDERS:
            (folder / name).mkdir(parents=True, exist_ok=True)
            for image in sorted((source / name).iterdir()):
                shutil.copyfile(image, folder / name / image.name)
        for name in (TRUTH_FILE, RATES_TRUTH_FILE):
            shutil.copyfile(source / name, folder / name)
        shutil.copyfile(source / STUDY_FILE, study)  # last: where it stands, the copy is whole
    except OSError as fault:
        raise InputError(folder, f"cannot be written ({fault.strerror})", "Name another folder") from fault
    return study


def against_truth(folder: Path) -> str:
    """Measured beside true, image by image and in all, as plain text.

    Parameters
    ----------
    folder : Path
        A measured copy of the demo study.

    Raises
    ------
    InputError
        If the study or its true figures cannot be read.
    """
    study = load_study(folder)
    stored = ResultsStore(study.folder).all()
    records, _ = gather(study, stored)
    rates = gather_rates(study, stored)
    named: dict[str, list[str]] = {
        **{kind: [r.image_id for r in records if r.kind == kind] for kind in FIGURES},
        **{kind: [r.entry_id for r in rates if r.procedure == kind] for kind in RATE_FIGURES},
    }
    comparisons = [
        *compare_with_truth(study.folder, records),
        *compare_rates_with_truth(study.folder, rates),
    ]
    parts = []
    for kind, names in named.items():
        own = [c for c in comparisons if c.kind == kind]
        if own:
            parts.append(_table(own, names))
    return "\n\n".join(parts)


def _table(comparisons: Sequence[TruthComparison], images: Sequence[str]) -> str:
    """One line an image of one kind, and below it one line a figure."""
    cells: dict[str, dict[str, str]] = {image: {} for image in images}
    for c in comparisons:
        for image, measured, true in zip(c.images, c.measured, c.true, strict=True):
            cells[image][c.figure] = f"{_shown(c.figure, measured)} / {_shown(c.figure, true)}"
    heads = ["measured / true", *(_HEADINGS[c.figure] for c in comparisons)]
    rows = [[image, *(own.get(c.figure, "") for c in comparisons)] for image, own in cells.items()]
    widths = [max(map(len, column)) for column in zip(heads, *rows, strict=True)]
    table = [heads, ["-" * width for width in widths], *rows]
    lines = ["  ".join(map(str.ljust, row, widths)).rstrip() for row in table]
    return "\n".join([*lines, "", *(_in_all(c) for c in comparisons)])


def _shown(figure: str, value: float) -> str:
    if figure.endswith("_count"):
        return f"{value:.0f}"
    return significant(100 * value if figure.endswith("_fraction") else value)


def _in_percent(c: TruthComparison) -> str:
    return f"{100 * c.relative_bias:+.1f} % in all"


def _in_all(c: TruthComparison) -> str:
    kind = _KINDS[c.kind]
    # A share of a potential means nothing: its zero is that of the reference electrode.
    bias = f"{1000 * c.bias:+.1f} mV on average" if c.figure.endswith("_V") else _in_percent(c)
    text = f"{_HEADINGS[c.figure]}: {bias} over {_counted(len(c.images), kind)}"
    if c.lower_bounds:
        text += f"; {_counted(c.lower_bounds, 'lower bound')} left out (floor not measured)"
    if c.with_interval:
        text += f"; {c.covered} of {c.with_interval} intervals hold the true value"
    return text


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
