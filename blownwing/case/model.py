"""The case: everything a calculation starts from, frozen and validated."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import (
    Field,
    PrivateAttr,
    StrictStr,
    ValidationError,
    field_validator,
    model_validator,
)

from blownwing.case import checks, surface_checks
from blownwing.case.air import Air, air_at
from blownwing.case.aircraft import Aircraft, check_aircraft
from blownwing.case.drawn import check_drawn
from blownwing.case.edits import edited
from blownwing.case.fields import Angle, Table
from blownwing.case.fuselage import Fuselage
from blownwing.case.messages import Fault, faults, one_sentence
from blownwing.case.parts import Flow, ModelOptions, Propeller, Wing
from blownwing.case.placed import PlacedPropeller, mirror_symmetric, placed
from blownwing.case.surfaces import Surface
from blownwing.case.trim import Trim
from blownwing.case.writer import toml_text
from blownwing.errors import InputError


class Case(Table):
    """One wing, its propellers, the flow and the options of the solve.

    Build one with `read_case`, or in Python with ``Case.from_tables({...})``, which reports a
    broken rule in one sentence.
    """

    title: StrictStr = Field(default="", description="of results and figures")
    flow: Flow
    wing: Wing
    surfaces: tuple[Surface, ...] = ()
    controls: dict[str, Angle] = Field(
        default_factory=dict, description="settings of the hinged controls by name; absent: 0"
    )
    propellers: tuple[Propeller, ...] = ()
    model: ModelOptions = Field(default_factory=ModelOptions)
    aircraft: Aircraft | None = None
    trim: Trim | None = None
    fuselage: Fuselage | None = None

    _folder: Path = PrivateAttr(default_factory=Path)
    _text: str | None = PrivateAttr(default=None)

    @classmethod
    def from_tables(cls, tables: Mapping[str, Any], folder: Path | str = ".") -> Case:
        """A case from nested mappings with the keys of the case file.

        Args:
            tables: as `tomllib` returns them.
            folder: where relative file names start.

        Raises:
            InputError: for the first broken rule: key, what was found, what is accepted.
        """
        try:
            case = cls.model_validate(tables)
        except ValidationError as error:
            raise InputError(one_sentence(faults(error, cls))) from None
        return case.with_source(Path(folder))

    def with_source(self, folder: Path, text: str | None = None) -> Case:
        """The same case, knowing where it came from.

        Args:
            folder: where relative file names start.
            text: the TOML text it was read from, kept for `to_toml`.
        """
        case = self.model_copy()
        case._folder, case._text = folder, text
        return case

    @field_validator("title")
    @classmethod
    def _one_line(cls, value: str) -> str:
        if not value.isprintable():
            raise InputError("found a control character; accepted is one line of text")
        return value

    @model_validator(mode="after")
    def _consistent(self) -> Case:
        checks.check_stations(self.wing)
        checks.check_flaps(self.wing)
        try:
            air = self.air
        except InputError as error:
            raise Fault(("flow",), str(error)) from None
        checks.check_speeds(self.flow, self.model, air, self.propellers)
        items = self.propeller_list()
        checks.check_names(items)
        checks.check_tilt(self.model, self.propellers)
        checks.check_half_model(self.wing, self.is_symmetric)
        checks.check_discs_apart(items)
        checks.check_discs_clear_of_wing(self.wing, items)
        checks.check_ground(self.flow, self.wing, items)
        surface_checks.check_surfaces(self.wing, self.surfaces, self.model)
        surface_checks.check_settings(self.wing, self.surfaces, self.controls)
        surface_checks.check_discs_clear(self.surfaces, items)
        surface_checks.check_rises(self.wing, self.surfaces, items)
        if self.trim is not None:
            names = [item.name for item in items]
            surface_checks.check_trim(
                self.trim, self.wing, self.surfaces, names, self.flow.airspeed
            )
        if self.aircraft is not None:
            check_drawn(self.aircraft, self.trim, self.wing, self.surfaces)
            named = {item.name: item.definition.name for item in items}
            groups = len(self.wing.flaps)
            check_aircraft(self.aircraft, named, groups, self.model.sections)
        return self

    def __eq__(self, other: object) -> bool:
        """Equal in every input; folder and comments do not count."""
        if not isinstance(other, Case):
            return NotImplemented
        return self._inputs == other._inputs

    def __repr__(self) -> str:
        """One line; `to_toml` has everything."""
        angles = ", ".join(f"{a:g}" for a in self.alphas[:3]) + ("..." if self.alphas[3:] else "")
        return (
            f"<Case {self.title!r}, {self.flow.airspeed:g} m/s, alpha {angles} deg, "
            f"span {self.wing.span:g} m, {len(self.propeller_list())} propellers>"
        )

    __str__ = __repr__

    def __hash__(self) -> int:
        return hash(self._inputs)

    @property
    def _inputs(self) -> tuple[object, ...]:
        settings = tuple(sorted(self.controls.items()))
        return (
            self.title, self.flow, self.wing, self.surfaces, settings, self.propellers, self.model,
            self.aircraft, self.trim, self.fuselage,
        )  # fmt: skip

    @property
    def folder(self) -> Path:
        """Where relative file names start."""
        return self._folder

    @property
    def alphas(self) -> tuple[float, ...]:
        """Incidences to run, deg, at least one."""
        alpha = self.flow.alpha
        return alpha if isinstance(alpha, tuple) else (alpha,)

    @property
    def air(self) -> Air:
        """The air the aircraft flies in."""
        return air_at(self.flow.altitude, self.flow.isa_offset, self.flow.density)

    @property
    def mach(self) -> float:
        """Flight Mach number: the override, else airspeed over the speed of sound."""
        if self.flow.mach is not None:
            return self.flow.mach
        return self.flow.airspeed / self.air.speed_of_sound

    @property
    def wing_mach(self) -> float:
        """Mach number that the wing is corrected for: 0 without `model.compressibility`."""
        return self.mach if self.model.compressibility else 0.0

    @property
    def is_symmetric(self) -> bool:
        """Whether the starboard half tells everything: shape, flow and propellers mirrored.

        A propeller on the centre line breaks the symmetry by its swirl; an ideal disc does not.
        """
        flow = self.flow
        return (
            self.wing.symmetric
            and surface_checks.mirror_symmetric(self.wing, self.surfaces, self.controls)
            and not self._lateral_trim
            and flow.beta == flow.roll_rate == flow.yaw_rate == 0.0
            and mirror_symmetric(self.propeller_list())
        )

    @property
    def _lateral_trim(self) -> bool:
        if self.trim is None:
            return False
        items = self.propeller_list()
        return surface_checks.lateral(self.trim, self.wing, self.surfaces, items)

    @property
    def has_measured(self) -> bool:
        """Whether a propeller is known by its table only."""
        return any(item.kind == "measured" for item in self.propellers)

    @property
    def has_surfaces(self) -> bool:
        """Whether there is more than a wing as drawn: other surfaces, or controls that are set."""
        return bool(self.surfaces) or (bool(self.wing.controls) and any(self.controls.values()))

    def propeller_list(self) -> list[PlacedPropeller]:
        """All propellers with their twins written out, in file order."""
        return placed(self.propellers)

    def file_path(self, name: str) -> Path:
        """A file named in the case, relative to the case's folder."""
        return self._folder / name

    def files(self) -> list[tuple[tuple[str | int, ...], Path]]:
        """Every file the case names, with the path of the key that names it."""
        result: list[tuple[tuple[str | int, ...], Path]] = []
        for index, station in enumerate(self.wing.stations):
            if "." in station.airfoil or "/" in station.airfoil:
                path = ("wing", "stations", index, "airfoil")
                result.append((path, self.file_path(station.airfoil)))
        for number, surface in enumerate(self.surfaces):
            for index, station in enumerate(surface.stations):
                if "." in station.airfoil or "/" in station.airfoil:
                    place = ("surfaces", number, "stations", index, "airfoil")
                    result.append((place, self.file_path(station.airfoil)))
        for index, item in enumerate(self.propellers):
            for key, name in (("blade", item.blade), ("table", item.table), ("shape", item.shape)):
                if name is not None:
                    result.append((("propellers", index, key), self.file_path(name)))
        for index, motor in enumerate(self.aircraft.motors if self.aircraft else ()):
            if motor.table is not None:
                key_path = ("aircraft", "motors", index, "table")
                result.append((key_path, self.file_path(motor.table)))
        return result

    def replace(self, **edits: Any) -> Case:
        """A new case with values at dotted paths changed, validated again.

        Paths go by key and index, propellers also by name, and ``all`` means every item:
        ``case.replace(**{"propellers.all.rpm": 4200, "wing.stations.1.twist": -2})``. A value of
        None takes a key away. Setting one of rpm, thrust, power (or, for a disc, thrust and
        speed_ratio) clears the others that the same call does not set.

        Raises:
            InputError: for an unknown path, or when the edited case breaks a rule.
        """
        if not edits:
            return self
        # tables that no path leads into stay as they are and are not validated anew
        touched = {path.replace("[", ".").split(".")[0] for path in edits}
        tables = {**dict(self), **self.model_dump(include=touched)}
        return Case.from_tables(edited(tables, edits), self._folder)

    def to_toml(self) -> str:
        """Text that reads back to an equal case.

        The text the case was read from, comments and all, unless it was edited since; then every
        input that is set, defaults included.
        """
        if self._text is not None:
            return self._text
        return toml_text(self.model_dump(by_alias=True, exclude_none=True))
