"""What a manifest says of materials, sweeps, weighings, gas and rig logs, each table checked by itself."""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from surfscan.electrochemistry.references import find_electrode
from surfscan.errors import InputError
from surfscan.immersion.exposure_settings import ExposureSettings
from surfscan.immersion.instrument_checks import InstrumentCheck
from surfscan.materials.catalogue import StatedMaterial, find_material
from surfscan.materials.material import LARGEST_SUM, LEAST_SUM
from surfscan.study.entry_base import (
    Finite,
    ManifestTable,
    NotNegative,
    NumberOrNumbers,
    Numbers,
    Positive,
    RelativeFile,
    Share,
    Text,
    as_stamp,
    as_tuple,
    own_fault,
)

RateProcedure = Literal["sweep", "mass_loss", "gas", "exposure"]
Temperature = Annotated[float, Field(ge=-10, le=110, allow_inf_nan=False)]
Moment = Annotated[Text | float, BeforeValidator(as_stamp)]
Texts = Annotated[tuple[Text, ...], BeforeValidator(as_tuple), Field(min_length=1)]
Masses = Annotated[tuple[Positive, ...], BeforeValidator(as_tuple), Field(min_length=1)]

_SWEEP_ROLES = ("potential", "current", "current density", "time", "scan")
_GAS_COLUMNS = ("hours", "volume")


class Material(ManifestTable):
    """A material of the study: figures with a source, over what is known under its name."""

    name: Text
    density_g_per_cm3: Positive | None = None
    composition: dict[str, NotNegative] | None = Field(
        None,
        description="Element -> mass fraction, or mass percent; all of them in the same. Adds up to 0.95 to "
        "1.005, or 95 to 100.5.",
    )
    valences: dict[str, Annotated[int, Field(ge=1, le=8)]] | None = Field(
        None, description="Element -> electrons that an atom gives up."
    )
    equivalent_weight: Positive | None = Field(
        None, description="g per mole of electrons, in place of one computed from composition and valences."
    )
    source: str = Field("", description="Where the figures come from.")

    @model_validator(mode="after")
    def _can_be(self) -> Self:
        total = math.fsum((self.composition or {}).values())
        if self.composition is not None and not any(
            whole * LEAST_SUM <= total <= whole * LARGEST_SUM for whole in (1, 100)
        ):
            raise own_fault(
                f"the composition of {self.name!r} adds up to {total:.6g}",
                "Give all elements as mass fractions (sum 1) or as mass percent (sum 100)",
                "composition",
            )
        try:
            find_material(self.name, (self.stated,))
        except InputError as fault:
            raise own_fault(fault.fault, fault.remedy) from None
        return self

    @property
    def stated(self) -> StatedMaterial:
        """What is stated, as the materials room takes it."""
        percent = None
        if self.composition is not None:
            factor = 100.0 if math.fsum(self.composition.values()) < 2 else 1.0
            percent = {element: factor * share for element, share in self.composition.items()}
        return StatedMaterial(
            self.name,
            self.density_g_per_cm3,
            percent,
            self.valences,
            self.equivalent_weight,
            self.source or "study.toml",
        )


class SweepEntry(ManifestTable):
    """A potential sweep: whose it is, and what its file does not say."""

    file: RelativeFile = Field(description="Delimited text, path relative to study.toml.")
    specimen: Text
    area_cm2: Positive | None = Field(
        None, description="Wetted area in the cell; left out, the specimen's surface."
    )
    area_relative_uncertainty: Share | None = Field(
        None, description="Relative standard uncertainty (k = 1) of area_cm2."
    )
    reference: Text | None = Field(
        None, description="Reference electrode of the file, such as 'SCE'; overrules its header."
    )
    to_reference: Text | None = Field(
        None, description="Reference electrode that all its potentials are given against."
    )
    temperature_degC: Temperature | None = Field(
        None, description="Of cell and reference electrode; left out, 25 °C."
    )
    solution_resistance_ohm: NotNegative | None = Field(
        None, description="Between reference electrode and specimen; taken off the potentials."
    )
    rest_potential_V: Finite | None = Field(
        None, description="Before the sweep, against the reference electrode of the file."
    )
    columns: dict[str, str | int] = Field(
        default_factory=dict,
        description="Role ('potential', 'current', 'current density', 'time', 'scan') -> heading, or number "
        "of the column, the first 1.",
    )
    units: dict[str, str] = Field(default_factory=dict, description="Role -> unit, such as 'mV', 'µA/cm²'.")
    decimal: Literal[".", ","] | None = Field(None, description="Decimal mark of the file.")
    twin_of: Text | None = Field(
        None,
        description="Specimen that this one stands for: a sweep destroys its electrode, so that another of "
        "the same kind is exposed.",
    )
    note: str = ""

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        if self.twin_of == self.specimen:
            raise own_fault(
                f"specimen {self.specimen!r} is its own twin",
                "Name the exposed specimen, or take twin_of out",
                "twin_of",
            )
        if self.area_relative_uncertainty is not None and self.area_cm2 is None:
            raise own_fault(
                "area_relative_uncertainty is stated without area_cm2",
                "Add area_cm2, or state surface_area_relative_uncertainty of the specimen",
                "area_relative_uncertainty",
            )
        _known_keys("columns", self.columns, _SWEEP_ROLES)
        _known_keys("units", self.units, _SWEEP_ROLES)
        return self

    @property
    def entry_id(self) -> str:
        """Its name in study and store."""
        return self.file


class WeighingEntry(ManifestTable):
    """Masses of a specimen before exposure and after each cleaning cycle."""

    specimen: Text
    before_g: Positive = Field(description="Before exposure.")
    cleaned_g: Masses = Field(description="After the 1st, 2nd ... of equal cleaning cycles.")
    blank_g: Masses | None = Field(
        None,
        description="An uncorroded blank of the same metal: its mass before the first cycle and after each.",
    )
    blank_loss_mg: Annotated[tuple[Finite, ...], BeforeValidator(as_tuple), Field(min_length=1)] | None = (
        Field(None, description="In place of blank_g: what the blank lost in each cycle.")
    )
    blank_area_cm2: Positive | None = Field(None, description="Its surface; left out, the specimen's.")
    balance_uncertainty_mg: Positive | None = Field(
        None, description="Standard uncertainty of one weighing; overrides the settings."
    )
    cleaning: str = Field("", description="How it was cleaned: solution, temperature, time of a cycle.")
    hours: Positive | None = Field(
        None,
        description="Immersed time; left out, that of the log that covers the specimen, else its exposure_h.",
    )
    note: str = ""

    @model_validator(mode="after")
    def _blank_fits(self) -> Self:
        cycles = len(self.cleaned_g)
        if self.blank_g is not None and self.blank_loss_mg is not None:
            raise own_fault(
                "blank_g and blank_loss_mg both tell of the blank", "Keep one of the two", "blank_loss_mg"
            )
        if self.blank_g is not None and len(self.blank_g) != cycles + 1:
            raise own_fault(
                f"blank_g has {len(self.blank_g)} masses, and there are {cycles} cleaning cycles",
                f"Give {cycles + 1}: before the first cycle and after each",
                "blank_g",
            )
        if self.blank_loss_mg is not None and len(self.blank_loss_mg) != cycles:
            raise own_fault(
                f"blank_loss_mg has {len(self.blank_loss_mg)} losses, and there are {cycles} cleaning cycles",
                "Give one for each cycle",
                "blank_loss_mg",
            )
        if self.blank_area_cm2 is not None and self.blank_g is None and self.blank_loss_mg is None:
            raise own_fault(
                "blank_area_cm2 is stated without a blank", "Add blank_g, or take it out", "blank_area_cm2"
            )
        return self

    @property
    def blank_masses_g(self) -> tuple[float, ...]:
        """Masses of the blank before the first cycle and after each; of stated losses, from that of the part.

        Empty where there is no blank.
        """
        if self.blank_g is not None:
            return self.blank_g
        losses = self.blank_loss_mg or ()
        taken = (math.fsum(losses[:k]) / 1000 for k in range(len(losses) + 1))
        return tuple(self.before_g - loss for loss in taken) if losses else ()

    @property
    def entry_id(self) -> str:
        """Its name in study and store."""
        return f"weighing of {self.specimen}"


class GasEntry(ManifestTable):
    """Hydrogen collected from a specimen over time."""

    specimen: Text
    file: RelativeFile | None = Field(
        None, description="CSV with a column of hours since immersion and one of volume in mL."
    )
    columns: dict[str, str] = Field(
        default_factory=dict, description="'hours' and 'volume' -> heading in the file, where told otherwise."
    )
    hours: Numbers | None = Field(None, description="In place of a file: hours since immersion.")
    volume_mL: Numbers | None = Field(None, description="Gas collected up to then.")
    temperature_degC: NumberOrNumbers = Field(description="Of the gas: one for all readings, or each.")
    pressure_kPa: NumberOrNumbers = Field((101.325,), description="Of the air in the room: one, or each.")
    column_cm: NumberOrNumbers = Field(
        (0.0,), description="Height of the solution in the burette above that outside: one, or each."
    )
    blank_mL: NumberOrNumbers = Field(
        (0.0,), description="What a cell without specimen showed: at the last reading, or at each."
    )
    dry: bool | None = Field(None, description="Whether the gas holds no water vapour; else as settings say.")
    hydrogen_only: bool = Field(
        False, description="State that hydrogen is the only cathodic reaction in this solution."
    )
    solution_mL: Positive | None = Field(None, description="Volume of the solution.")
    note: str = ""

    @model_validator(mode="after")
    def _has_readings(self) -> Self:
        listed = [name for name in ("hours", "volume_mL") if getattr(self, name) is not None]
        if self.file is not None and listed:
            raise own_fault(
                f"readings stand both in {self.file} and in {' and '.join(listed)}", "Keep one of the two"
            )
        if self.file is None and len(listed) < 2:
            raise own_fault(
                "there are no readings of the gas",
                "Add file, or both hours = [...] and volume_mL = [...]",
            )
        if self.hours is not None and self.volume_mL is not None and len(self.hours) != len(self.volume_mL):
            raise own_fault(
                f"there are {len(self.hours)} hours and {len(self.volume_mL)} volumes",
                "Give one volume for each time",
                "volume_mL",
            )
        if self.columns and self.file is None:
            raise own_fault("columns are stated without a file", "Take columns out", "columns")
        _known_keys("columns", self.columns, _GAS_COLUMNS)
        return self

    @property
    def entry_id(self) -> str:
        """Its name in study and store."""
        return self.file or f"gas of {self.specimen}"


class CheckEntry(ManifestTable):
    """What an instrument read against something known, before and after the exposure.

    In mV of a reference electrode, pH of a probe, mg of a balance.
    """

    instrument: Literal["reference electrode", "pH probe", "balance"]
    name: str = Field("", description="Which one, where there are several.")
    known_before: Finite = Field(description="What it should read: second electrode, buffer, weight.")
    read_before: Finite
    known_after: Finite
    read_after: Finite
    temperature_before_degC: Temperature | None = Field(None, description="Of the instrument in the check.")
    temperature_after_degC: Temperature | None = None
    used_at_degC: Temperature | None = Field(
        None, description="Temperature in use; left out, the set point of the log."
    )
    electrode: str = Field("", description="Kind of reference electrode, such as 'Ag/AgCl 3 M KCl'.")

    @model_validator(mode="after")
    def _is_an_electrode(self) -> Self:
        if self.electrode:
            try:
                find_electrode(self.electrode)
            except InputError as fault:
                raise own_fault(fault.fault, fault.remedy, "electrode") from None
        return self

    def check(self, set_point_degC: float | None) -> InstrumentCheck:
        """The check, as the immersion room takes it."""
        stated = self.model_dump()
        if self.used_at_degC is None:
            stated["used_at_degC"] = set_point_degC
        return InstrumentCheck(**stated)


class LogEntry(ExposureSettings):
    """A rig log: whose it is, and what settings of rig logs hold for it alone."""

    file: RelativeFile = Field(description="CSV or other delimited text, path relative to study.toml.")
    specimens: Texts | None = Field(None, description="Specimens that were in the rig together.")
    group: Text | None = Field(None, description="In place of specimens: all of a group.")
    start: Moment | None = Field(
        None,
        description="When the specimens went in: a time as in the log, or hours since its first reading. "
        "Left out, the first reading.",
    )
    stop: Moment | None = Field(None, description="When they came out; left out, the last reading.")
    covers: Literal["whole", "part"] = Field(
        "whole",
        description="Whether it covers the whole exposure: its immersed hours then take the place of the "
        "specimens' exposure_h in rates. Those of a 'part' do not.",
    )
    checks: Annotated[tuple[CheckEntry, ...], BeforeValidator(as_tuple)] = Field(
        (), description="Checks of reference electrode, pH probe and balance before and after."
    )
    note: str = ""

    @model_validator(mode="after")
    def _names_specimens(self) -> Self:
        if (self.specimens is None) == (self.group is None):
            raise own_fault(
                "a log belongs to specimens or to a group"
                + (", and both are named" if self.group else ", and neither is named"),
                'Add specimens = ["...", ...] or group = "..."',
            )
        twice = [s for s in dict.fromkeys(self.specimens or ()) if (self.specimens or ()).count(s) > 1]
        if twice:
            raise own_fault(f"specimen {twice[0]!r} stands twice in the log", "Name it once", "specimens")
        return self

    @property
    def entry_id(self) -> str:
        """Its name in study and store."""
        return self.file

    def settings(self, general: ExposureSettings) -> ExposureSettings:
        """The settings of the study with what the entry states in their place.

        Raises
        ------
        pydantic.ValidationError
            If the two do not go together.
        """
        own = {
            name: getattr(self, name)
            for name in ExposureSettings.model_fields
            if name in self.model_fields_set
        }
        return ExposureSettings.model_validate(general.model_dump() | own)


RateEntry = SweepEntry | WeighingEntry | GasEntry | LogEntry

RATE_TABLES: dict[str, type[Any]] = {
    "sweep": SweepEntry,
    "weighing": WeighingEntry,
    "gas": GasEntry,
    "log": LogEntry,
}
"""Table of the manifest -> its class."""

PROCEDURE_OF: dict[type[Any], RateProcedure] = {
    SweepEntry: "sweep",
    WeighingEntry: "mass_loss",
    GasEntry: "gas",
    LogEntry: "exposure",
}
"""Class of an entry -> the procedure that measures it."""


def _known_keys(name: str, given: dict[str, Any], known: tuple[str, ...]) -> None:
    strange = [key for key in given if key not in known]
    if strange:
        raise own_fault(f"{name} has no {strange[0]!r}", f"Its keys are {', '.join(map(repr, known))}", name)
