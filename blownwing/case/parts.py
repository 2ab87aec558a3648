"""The tables of a case file, each checked on its own.

Angles stay in degrees, as the user wrote them; lengths are metres, speeds m/s, forces N, powers W,
rotational speeds rpm. What needs two tables at once is checked in `checks`.
"""

from __future__ import annotations

import re
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import AliasChoices, Field, StrictBool, StrictStr, field_validator, model_validator

from blownwing.case import units
from blownwing.case.air import HIGHEST_ALTITUDE, LOWEST_ALTITUDE
from blownwing.case.controls import Control, check_controls
from blownwing.case.fields import (
    LARGEST_DENSITY,
    LEAST_DENSITY,
    Accepted,
    Airspeed,
    Angle,
    AngularRate,
    Area,
    Density,
    FileName,
    Force,
    Incidences,
    Length,
    Number,
    Point,
    Power,
    Revolutions,
    Size,
    Spin,
    Table,
    TemperatureDifference,
    Whole,
    file_name,
)
from blownwing.case.messages import Fault
from blownwing.errors import InputError


class Flow(Table):
    """The air and the aircraft's motion through it."""

    airspeed: Airspeed = Field(ge=0.0, description="true airspeed; 0 is a static case")
    altitude: Length = Field(
        default=0.0, ge=LOWEST_ALTITUDE, le=HIGHEST_ALTITUDE, description="pressure altitude"
    )
    alpha: Incidences = Field(default=0.0, description="incidence; a list runs a polar")
    beta: Angle = Field(
        default=0.0, ge=-45.0, le=45.0, description="sideslip, wind from starboard positive"
    )
    mach: Number | None = Field(
        default=None, ge=0.0, description="Mach number instead of airspeed / speed of sound"
    )
    isa_offset: TemperatureDifference = Field(
        default=0.0, ge=-100.0, le=100.0, description="temperature above standard"
    )
    ground_height: Length | None = Field(
        default=None, gt=0.0, description="reference point above the ground; absent: free air"
    )
    density: Density | None = Field(
        default=None,
        ge=LEAST_DENSITY,
        le=LARGEST_DENSITY,
        description="density instead of the standard one",
    )
    roll_rate: AngularRate = Field(default=0.0, description="starboard wing down")
    pitch_rate: AngularRate = Field(default=0.0, description="nose up")
    yaw_rate: AngularRate = Field(default=0.0, description="nose to starboard")


# Names of the measured tables that come with the package (airfoil.library; a test compares them).
MEASURED_SECTIONS = (
    "ls1-0413_rough",
    "ls1-0413_smooth",
    "ls1-0417_rough",
    "ls1-0417_smooth",
    "naca0012_tripped_120",
    "naca0012_tripped_180",
    "naca0012_tripped_80",
    "naca63-415",
    "naca63-418",
    "naca64-415",
    "naca65-210",
)
_NACA = re.compile(r"naca(?:00|[1-9][1-9])(?!00)\d\d|naca[1-9](?:[1-5]0|[2-5]1)(?!00)\d\d")


class Station(Table):
    """A section of the wing at one spanwise place; the wing is straight between stations."""

    y: Length = Field(description="spanwise place")
    x: Length = Field(default=0.0, description="leading edge, aft")
    z: Length = Field(default=0.0, description="leading edge, up")
    chord: Size = Field(gt=0.0, description="local chord")
    twist: Angle = Field(default=0.0, ge=-60.0, le=60.0, description="nose up")
    airfoil: StrictStr = Field(
        default="flat", description='"flat", a NACA 4- or 5-digit name, or a file'
    )

    @field_validator("airfoil")
    @classmethod
    def _known_section(cls, value: str) -> str:
        value = file_name(value)
        name = value.strip().lower().replace(" ", "")
        if name == "flat" or name in MEASURED_SECTIONS or _NACA.fullmatch(name):
            return name
        if name.startswith("naca") and "." not in name and "/" not in name:
            raise InputError(
                f'found "{value}"; accepted is a 4-digit name such as "naca2412" or a 5-digit one '
                'such as "naca23012" or "naca23112"'
            )
        if "." not in name and "/" not in name:
            raise InputError(
                f'found "{value}"; accepted is "flat", a NACA 4- or 5-digit name, a measured '
                f"section ({', '.join(MEASURED_SECTIONS)}), or the path of a file with its "
                "extension"
            )
        return value


FlapKind = Literal["plain", "split", "single_slotted", "fowler"]  # laws: airfoil.flaps


class Flap(Table):
    """A trailing-edge flap over part of the span; `from` and `to` in the file."""

    start: Number = Field(
        validation_alias=AliasChoices("from", "start"),
        serialization_alias="from",
        description="inner end, fraction of the semi-span",
    )
    end: Number = Field(
        validation_alias=AliasChoices("to", "end"),
        serialization_alias="to",
        description="outer end, fraction of the semi-span",
    )
    chord_fraction: Number = Field(gt=0.0, le=0.6, description="flap chord / local chord")
    deflection: Angle = Field(ge=-60.0, le=80.0, description="trailing edge down")
    kind: FlapKind = Field(
        default="plain", description="of flap; linear sections take every kind for a plain one"
    )


class Wing(Table):
    """A lifting surface given by its stations.

    `flaps` lie between fractions of the semi-span: 0 at the centre line and 1 at the tip of a
    symmetric wing; -1 at the port tip and 1 at the starboard tip, 0 midway, of a full-span one.
    """

    symmetric: StrictBool = Field(
        default=True, description="stations describe the starboard half and are mirrored"
    )
    half_model: StrictBool = Field(
        default=False,
        description="the starboard half alone stands on a reflection plane, as in a wind tunnel",
    )
    stations: tuple[Station, ...] = Field(min_length=2, description="in order of y")
    flaps: tuple[Flap, ...] = ()
    controls: tuple[Control, ...] = ()
    reference_area: Area | None = Field(
        default=None, gt=0.0, description="area of the coefficients; absent: planform"
    )
    reference_chord: Length | None = Field(
        default=None,
        gt=0.0,
        description="chord of the pitching moment; absent: mean aerodynamic chord",
    )
    reference_point: Point = Field(default=(0.0, 0.0, 0.0), description="moments about this point")

    @model_validator(mode="after")
    def _controlled(self) -> Wing:
        check_controls(self.controls, 0.0 if self.symmetric else -1.0)
        for index, item in enumerate(self.controls):
            for other, flap in enumerate(self.flaps):
                if item.start < flap.end and flap.start < item.end:
                    raise Fault(
                        ("controls", index, "from"),
                        f"found a control from {item.start:g} to {item.end:g} that overlaps "
                        f"flaps[{other}] from {flap.start:g} to {flap.end:g}; accepted are "
                        "controls and flaps side by side",
                    )
        return self

    @property
    def span(self) -> float:
        """Tip to tip along y, m; both halves of a symmetric wing."""
        return (2.0 if self.symmetric else 1.0) * (self.stations[-1].y - self.stations[0].y)

    @property
    def area(self) -> float:
        """`reference_area`, else the planform projected on z = 0, m²; both halves."""
        if self.reference_area is not None:
            return self.reference_area
        return self._chord_integral(1)

    @property
    def chord(self) -> float:
        """`reference_chord`, else the mean aerodynamic chord ∫c² dy / ∫c dy, m."""
        if self.reference_chord is not None:
            return self.reference_chord
        return self._chord_integral(2) / self._chord_integral(1)

    def _chord_integral(self, order: int) -> float:
        """∫ c^order dy over the whole span, order 1 or 2, exact for linear taper."""
        total = 0.0
        for inner, outer in pairwise(self.stations):
            a, b = inner.chord, outer.chord
            mean = (a + b) / 2.0 if order == 1 else (a * a + a * b + b * b) / 3.0
            total += (outer.y - inner.y) * mean
        return (2.0 if self.symmetric else 1.0) * total

    def flap_extent(self, flap: Flap | Control) -> tuple[float, float]:
        """Inner and outer y of a flap, m (the starboard one of a symmetric wing)."""
        first, last = self.stations[0].y, self.stations[-1].y
        if self.symmetric:
            return flap.start * last, flap.end * last
        middle, half = (first + last) / 2.0, (last - first) / 2.0
        return middle + flap.start * half, middle + flap.end * half


class Propeller(Table):
    """A propeller: blades, an ideal disc, or a table of measured CT and CP; perhaps mirrored."""

    name: StrictStr = Field(description="unique; letters, digits, _ and -")
    kind: Literal["blade", "disc", "measured"] = Field(
        default="blade", description="blades from a file, an ideal disc, or measured CT and CP"
    )
    position: Point = Field(description="disc centre")
    diameter: Size = Field(gt=0.0, description="of the disc")
    blades: Whole | None = Field(default=None, ge=1, le=24, description="number of blades")
    blade: FileName | None = Field(default=None, description="file of the blade's geometry")
    table: FileName | None = Field(
        default=None, description="file of measured CT and CP over J, of a measured propeller"
    )
    shape: FileName | None = Field(
        default=None,
        description="blade file of a measured propeller: it is loaded along the radius as these "
        "blades are; absent: as one of minimum loss",
    )
    solidity: Number | None = Field(
        default=None,
        gt=0.0,
        le=1.0,
        description="blade area / disc area of a measured propeller, for its normal force; absent: "
        "that of its shape",
    )
    spin: Spin | None = Field(default=None, description="seen from behind")
    incidence: Angle = Field(
        default=0.0, ge=-90.0, le=90.0, description="disc axis against the x axis, nose up"
    )
    toe: Angle = Field(default=0.0, ge=-45.0, le=45.0, description="disc axis, nose to starboard")
    mirror: StrictBool = Field(default=False, description="a twin on the other side")
    twin_spin: Spin | None = Field(default=None, description="of the twin; absent: mirrored")
    rpm: Revolutions | None = Field(default=None, ge=0.0, description="0 is a stopped propeller")
    thrust: Force | None = Field(default=None, description="of each propeller")
    power: Power | None = Field(default=None, description="shaft power of each propeller")
    speed_ratio: Number | None = Field(
        default=None, gt=0.0, description="speed in a disc's jet / airspeed"
    )
    nozzle: StrictBool = Field(
        default=False,
        description="the jet comes along the free stream from a nozzle far upstream, as in an open "
        "tunnel; not the stream of a propeller",
    )
    pitch: Angle = Field(default=0.0, ge=-90.0, le=90.0, description="added to the blade's twist")
    trim: Literal["rpm", "pitch"] | None = Field(
        default=None, description="what reaches the thrust or power; absent: rpm"
    )
    hub_ratio: Number | None = Field(
        default=None, ge=0.0, lt=0.9, description="hub / tip radius; absent: the blade file's"
    )

    folded_drag_area: Area | None = Field(
        default=None, ge=0.0, description="drag area of one with folded blades; absent: none"
    )

    @field_validator("name")
    @classmethod
    def _plain_name(cls, value: str) -> str:
        if not re.fullmatch(r"[A-Za-z][A-Za-z0-9_-]*", value) or value == "all":
            raise InputError(
                f"found {units.found(value)}; accepted is a letter followed by letters, digits, "
                '_ or -, and not "all"'
            )
        return value

    @model_validator(mode="after")
    def _consistent(self) -> Propeller:
        if self.kind == "disc":
            _check_disc(self)
        else:
            _check_driven(self)
        if self.position[1] == 0.0:
            _check_centre_line(self)
        if self.twin_spin is not None and not self.mirror:
            raise Fault(("twin_spin",), "there is no twin; accepted only with mirror = true")
        return self


def _given(propeller: Propeller, names: tuple[str, ...]) -> list[str]:
    return [name for name in names if getattr(propeller, name) is not None]


def _one_of(propeller: Propeller, names: tuple[str, ...], suffix: str = "") -> None:
    given = _given(propeller, names)
    if len(given) != 1:
        quoted = " and ".join(given) if given else "none"
        raise Fault(
            (given[-1],) if given else (),
            f"found {quoted}; accepted is exactly one of {', '.join(names)}{suffix}",
        )


def _check_disc(disc: Propeller) -> None:
    blade_only = ("blade", "table", "blades", "shape", "solidity", "spin", "twin_spin", "rpm",
                  "power", "trim", "hub_ratio", "folded_drag_area")  # fmt: skip
    unused = _given(disc, blade_only) + (["pitch"] if disc.pitch else [])
    if unused:
        raise Fault(
            (unused[0],),
            f'found {units.found(getattr(disc, unused[0]))}; not accepted with kind = "disc", '
            "which has no blades and no swirl",
        )
    _one_of(disc, ("thrust", "speed_ratio"), ' with kind = "disc"')
    if disc.nozzle and disc.speed_ratio is None:
        raise Fault(("nozzle",), "found true; accepted only where speed_ratio gives the jet")
    if disc.thrust is not None and disc.thrust < 0.0:
        raise Fault(("thrust",), f"found {disc.thrust:g}; accepted is a value of at least 0")


def _check_driven(propeller: Propeller) -> None:
    """A propeller on a shaft, known by its blades or by its table."""
    kind = propeller.kind
    for key in ("blades", "blade" if kind == "blade" else "table", "spin"):
        if getattr(propeller, key) is None:
            raise Fault((key,), f'this key is missing, needed with kind = "{kind}"')
    others = {"blade": ("table", "shape", "solidity"), "measured": ("blade",)}
    for key in _given(propeller, others[kind]):
        value = units.found(getattr(propeller, key))
        raise Fault((key,), f'found {value}; not accepted with kind = "{kind}"')
    if kind == "measured" and propeller.rpm == 0.0:
        raise Fault(
            ("rpm",),
            "found 0; a table over J knows no stopped propeller, accepted is a value above 0",
        )
    if propeller.nozzle:
        raise Fault(("nozzle",), 'found true; accepted only with kind = "disc" and speed_ratio')
    if propeller.speed_ratio is not None:
        raise Fault(
            ("speed_ratio",),
            f'found {propeller.speed_ratio:g}; accepted only with kind = "disc"; give rpm, thrust '
            "or power",
        )
    if propeller.trim == "pitch":
        _one_of(propeller, ("thrust", "power"), ' with trim = "pitch"')
        if not propeller.rpm:
            raise Fault(
                ("rpm",) if propeller.rpm == 0.0 else (),
                'trim = "pitch" needs the fixed speed; accepted is an rpm above 0',
            )
        return
    _one_of(propeller, ("rpm", "thrust", "power"))
    if propeller.trim == "rpm" and propeller.rpm is not None:
        raise Fault(("trim",), 'found "rpm"; accepted only where thrust or power is given')


def _check_centre_line(propeller: Propeller) -> None:
    if propeller.mirror:
        raise Fault(
            ("mirror",), "found true for a propeller on the centre line (y = 0); accepted is false"
        )
    if propeller.spin in ("inboard_up", "outboard_up"):
        raise Fault(
            ("spin",),
            f'found "{propeller.spin}" for a propeller on the centre line (y = 0), which has no '
            "inboard side; accepted is clockwise or counterclockwise",
        )


class ModelOptions(Table):
    """How finely and with which models the case is solved."""

    jet_edge: StrictBool = Field(
        default=True, description="slipstreams with an edge; false: superposed velocities"
    )
    jet_layers: Annotated[Literal["auto"] | Whole, Accepted('"auto", 1 to 4')] = Field(
        default="auto", description="nested tubes of each slipstream"
    )
    jet_around: Whole = Field(default=36, ge=6, le=200, description="panels around each tube")
    jet_rings: Whole = Field(default=16, ge=6, le=400, description="panels along each tube")
    sections: Literal["linear", "tables"] = Field(
        default="linear", description="thin-aerofoil sections, or section tables through the stall"
    )
    compressibility: StrictBool = Field(
        default=True, description="the flight Mach number acts on wing and blades"
    )
    chordwise: Whole = Field(default=8, ge=1, le=100_000, description="panels along the chord")
    spanwise: Whole = Field(default=32, ge=1, le=100_000, description="strips per half span")
    spacing: Literal["cosine", "uniform"] = Field(
        default="cosine", description="of the strips between breaks"
    )
    matrix: Literal["auto", "full", "compressed"] = Field(
        default="auto", description="how influences are stored; auto: by size and memory"
    )
    radial: Whole = Field(default=20, ge=3, le=200, description="annuli per disc")
    azimuth: Whole = Field(default=12, ge=4, le=360, description="azimuth stations per disc")

    @field_validator("jet_layers")
    @classmethod
    def _few_layers(cls, value: str | int) -> str | int:
        if value != "auto" and value not in (1, 2, 3, 4):
            raise InputError(f'found {value}; accepted is "auto" or 1 to 4')
        return value

    tolerance: Number = Field(default=1e-8, ge=1e-13, le=1e-2, description="relative residual")
    max_iterations: Whole = Field(default=60, ge=1, le=10000, description="of the coupling")
