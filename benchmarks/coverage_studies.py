"""Small studies of known truth, written to disk as a person would have them: one group of three plates.

The demo's generators paint the pictures, so that everything seen of a plate follows from its own true rate.
What the study states is off as a laboratory's would be, by errors drawn from the uncertainties it states: one
scale for all pictures of a kind, and of each plate its drawn sizes, its wetted area and its electrode's.
Random numbers come from streams that the seed of the study names.

Pictures of surfaces are no smaller than they are because on smaller ones a patch of product may fill most of
the field, and is then now and then taken for uneven light.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "sample_images"))

import bath
import heights
import sections
import struts
import surfaces
import sweeps
from specimens import UNCOATED, Specimen, stream

from surfscan.loaders.x3p_writer import write_x3p

PLATES = 3
FIELDS = 3
DAYS = 14
SHARE_OF_RATE = 0.6
SCALE_UNCERTAINTY = 0.01
AREA_UNCERTAINTY = 0.02
DRAWN_UNCERTAINTY = 0.01
MEDIAN_RATES_MM_PER_Y, SPREADS = (0.45, 0.9), (0.08, 0.25)
SURFACE_SHAPE, SURFACE_UM = (320, 420), 0.5
MAP_SHAPE = (220, 220)
STRUT_SHAPE, STRUT_UM = (160, 200), 3.2
SECTION_SHAPE, SECTION_UM = (200, 240), 2.4


@dataclass(frozen=True)
class Population:
    """Plates that those of a study are drawn from.

    Attributes
    ----------
    median_rate_mm_per_y : float
    spread : float
        Standard deviation of the logarithm of the rate.
    """

    median_rate_mm_per_y: float
    spread: float

    def rates(self, normal: np.ndarray) -> np.ndarray:
        """Rates of plates from numbers of a standard normal distribution."""
        return self.median_rate_mm_per_y * np.exp(self.spread * normal)


@dataclass(frozen=True)
class Plate:
    """One plate of a study with all that is true of it.

    Attributes
    ----------
    name : str
    rate_mm_per_y : float
    fields : list of dict
        True figures of each picture of its surface.
    pictures : list of dict
        Of each picture of its struts.
    map, section, weighing, sweep : dict
        Of its height map, section, weighing and sweep.
    """

    name: str
    rate_mm_per_y: float
    fields: list[dict[str, float]]
    pictures: list[dict[str, float]]
    map: dict[str, float]
    section: dict[str, float]
    weighing: dict[str, float]
    sweep: dict[str, float]


def specimen(name: str, rate_mm_per_y: float) -> Specimen:
    """A plate of the demo's alloy; its name decides every random number of what is painted of it."""
    return Specimen(name, UNCOATED, DAYS, rate_mm_per_y)


def population(seed: int) -> Population:
    """Where the plates of a study come from."""
    rng = stream("coverage", str(seed), "population")
    return Population(float(rng.uniform(*MEDIAN_RATES_MM_PER_Y)), float(rng.uniform(*SPREADS)))


def write_study(folder: Path, seed: int) -> list[Plate]:
    """Write `study.toml` and every file it names; gives what is true."""
    rng = stream("coverage", str(seed), "plates")
    rates = population(seed).rates(rng.standard_normal(PLATES))
    off = {
        kind: 1 + SCALE_UNCERTAINTY * float(rng.standard_normal()) for kind in ("surface", "strut", "section")
    }
    blocks = [
        'title = "Coverage study"\nnote = "All data invented."\n',
        '[[material]]\nname = "Mg-2Zn"\ndensity_g_per_cm3 = 1.78\ncomposition = { Mg = 98.0, Zn = 2.0 }\n'
        'valences = { Mg = 2, Zn = 2 }\nsource = "invented"\n',
        f"[settings.immersion]\nbalance_uncertainty_mg = {bath.BALANCE_MG}\n",
        '[[group]]\nname = "plates"\n',
    ]
    plates = []
    for number, rate in enumerate(rates.tolist(), start=1):
        plate, own = _write_plate(folder, f"{seed}-{number}", rate, off, rng)
        plates.append(plate)
        blocks += own
    (folder / "study.toml").write_text("\n".join(blocks), encoding="utf-8")
    return plates


def _write_plate(
    folder: Path, name: str, rate: float, off: dict[str, float], rng: np.random.Generator
) -> tuple[Plate, list[str]]:
    """Files of one plate; gives its truth and its part of study.toml."""
    own = specimen(f"coverage/{name}", rate)
    wetted, electrode = (1 + AREA_UNCERTAINTY * rng.standard_normal(2)).tolist()
    wide, thick = (1 + DRAWN_UNCERTAINTY * rng.standard_normal(2)).tolist()
    blocks = [
        f'[[specimen]]\nid = "{name}"\ngroup = "plates"\nexposure_h = {24.0 * DAYS}\nmaterial = "Mg-2Zn"\n'
        f"surface_area_mm2 = {bath.SURFACE_MM2 * wetted}\n"
        f"surface_area_relative_uncertainty = {AREA_UNCERTAINTY}\n"
        f"drawn_strut_width_um = {struts.WIDTH_UM * wide}\n"
        f"drawn_thickness_um = {struts.THICKNESS_UM * thick}\n"
    ]
    fields, pictures = [], []
    for letter in "abc"[:FIELDS]:
        field = surfaces.Field(own, letter, SURFACE_SHAPE, SURFACE_UM)
        picture, truth = surfaces.paint(field)
        fields.append(truth)
        blocks.append(
            _image(folder, f"{name}_{letter}.png", picture, name, "surface", SURFACE_UM * off["surface"])
        )
    height_field = heights.HeightField(surfaces.Field(own, "h", MAP_SHAPE, SURFACE_UM), "h", 0, 0, MAP_SHAPE)
    measured = heights.measure(height_field)
    map_name = f"{name}_h.x3p"
    steps = np.rint(measured.heights_um / 0.01) * 0.01
    write_x3p(folder / map_name, steps, SURFACE_UM, data_type="int16", z_step_um=0.01, comment="Invented.")
    blocks.append(_entry(map_name, name, "heights") + 'procedures = ["pits"]\n')
    for letter in "abc"[:FIELDS]:
        picture = struts.StrutPicture(specimen(f"{own.id}/{letter}", rate), "strut", STRUT_SHAPE, STRUT_UM)
        pixels, truth = struts.paint(picture)
        pictures.append(truth)
        blocks.append(
            _image(folder, f"{name}_strut_{letter}.png", pixels, name, "strut", STRUT_UM * off["strut"])
        )
    cut = sections.SectionPicture(own, SECTION_SHAPE, SECTION_UM)
    pixels, section = sections.paint(cut)
    blocks.append(
        _image(
            folder,
            f"{name}_section.png",
            pixels,
            name,
            "section",
            SECTION_UM * off["section"],
            "with_product",
        )
    )
    weighing = bath.Weighing(own)
    before, after = weighing.masses_g()
    blank = bath.BALANCE_MG * stream(own.id, "blank").standard_normal(6)
    blocks.append(
        f'[[weighing]]\nspecimen = "{name}"\nbefore_g = {before:.5f}\n'
        f"cleaned_g = [{', '.join(f'{mass:.5f}' for mass in after)}]\n"
        f"blank_loss_mg = {[round(x, 2) for x in (bath.BLANK_MG_PER_CYCLE - np.diff(blank)).tolist()]}\n"
        'cleaning = "chromic acid, 1 min"\n'
    )
    sweep = _sweep(own, rng)
    sweep_name = f"{name}_sweep.csv"
    (folder / sweep_name).write_text(sweep.text(), encoding="utf-8")
    blocks.append(
        f'[[sweep]]\nfile = "{sweep_name}"\nspecimen = "{name}"\narea_cm2 = {sweeps.AREA_CM2 * electrode}\n'
        f"area_relative_uncertainty = {AREA_UNCERTAINTY}\ntemperature_degC = {sweeps.TEMPERATURE_DEGC}\n"
        f'to_reference = "SCE"\nsolution_resistance_ohm = {sweeps.SOLUTION_RESISTANCE_OHM}\n'
    )
    plate = Plate(name, rate, fields, pictures, measured.truth, section, weighing.truth(), sweep.truth())
    return plate, blocks


def _sweep(own: Specimen, rng: np.random.Generator) -> sweeps.CellSweep:
    moved = rng.standard_normal(3)
    anodic, cathodic = (
        round(s * (1 + 0.05 * float(m))) for s, m in zip((105.0, 170.0), moved[1:], strict=True)
    )
    return sweeps.CellSweep(own, own, round(-1560.0 + 12 * float(moved[0]), 1), anodic, cathodic, 171, 132, 3)


def _image(
    folder: Path,
    file: str,
    pixels: np.ndarray,
    plate: str,
    shows: str,
    pixel_size_um: float,
    condition: str = "cleaned",
) -> str:
    """Write a picture; gives its entry."""
    (folder / file).write_bytes(cv2.imencode(".png", pixels, [cv2.IMWRITE_PNG_COMPRESSION, 1])[1].tobytes())
    return _entry(file, plate, shows, condition) + f"pixel_size_um = {pixel_size_um}\n"


def _entry(file: str, plate: str, shows: str, condition: str = "cleaned") -> str:
    cleaning = 'cleaning = "rinsed with ethanol"\n' if condition == "cleaned" else ""
    return (
        f'[[image]]\nfile = "{file}"\nspecimen = "{plate}"\nshows = "{shows}"\ncondition = "{condition}"\n'
        f'{cleaning}field_choice = "systematic"\n'
    )
