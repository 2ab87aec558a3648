"""What each propeller of a case does off design, alone in axial flow: states and derivatives."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from blownwing.aircraft.drive import check_motor_tables, motor_power
from blownwing.aircraft.power import motor_of
from blownwing.case.model import Case
from blownwing.case.parts import Propeller
from blownwing.case.units import RPM
from blownwing.coupling.discs import placed_discs
from blownwing.errors import InputError, SolveError
from blownwing.propeller.derivatives import Derivatives, derivatives
from blownwing.propeller.noise import ToneSource, gutin_tones
from blownwing.propeller.operation import feathered, stopped, windmill
from blownwing.propeller.rotor import Rotor
from blownwing.propeller.unit import Unit, unit_state
from blownwing.report.trust import GENERAL_SECTION
from blownwing.solution.model import CAUTION
from blownwing.solution.records import heading
from blownwing.solution.tables import write_columns

OBSERVER_DISTANCE = 50.0  # m, or the nearest place in the far field
OBSERVER_ANGLE = math.radians(105.0)  # from ahead: about where rotational noise is loudest
_COLUMNS = {  # heads of the table, and what of a state stands below
    "propeller": "propeller", "state": "name", "pitch [deg]": "pitch", "rpm [1/min]": "rpm",
    "drag [N]": "drag", "drag area [m2]": "area", "torque [N m]": "torque", "power [W]": "power",
    "battery power [W]": "battery", "noise [dB]": "noise", "remark": "remark",
}  # fmt: skip


@dataclass(frozen=True)
class State:
    """One propeller in one state; SI, angles in deg.

    Attributes:
        propeller, name: of the propeller and of the state.
        pitch: added to the twist. rpm: 1/min. drag: −thrust, N. area: drag over ½ρV², m².
        torque: taken from the shaft, N m; what a lock has to hold where it stands. power: W.
        battery: power drawn through the case's motor, W; NaN without one, or where nothing drives.
        noise: rotational tones 50 m away (or in the nearest far field), dB; NaN where undefined.
        remark: why there are no numbers; else empty, and the first six are finite.
    """

    propeller: str
    name: str
    pitch: float = math.nan
    rpm: float = math.nan
    drag: float = math.nan
    area: float = math.nan
    torque: float = math.nan
    power: float = math.nan
    battery: float = math.nan
    noise: float = math.nan
    remark: str = ""


@dataclass(frozen=True)
class OffDesign:
    """States of the propellers of a case, and derivatives of those with blades as driven."""

    airspeed: float
    states: tuple[State, ...]
    derivatives: dict[str, Derivatives]
    general: tuple[str, ...]  # propellers whose section is a constructed table


def off_design(case: Case, names: tuple[str, ...], airspeed: float, friction: float) -> OffDesign:
    """States of a case's propellers in axial flow, one of each pair of twins.

    Args:
        case: the case. names: of the propellers; none means all.
        airspeed: m/s, above 0. friction: torque that a windmilling propeller has to drive, N m.

    Raises:
        InputError: an unknown name, only ideal discs, an airspeed not above 0.
    """
    known = [item.name for item in case.propellers if item.kind != "disc"]
    for name in names:
        if name not in known:
            raise InputError(f'--name: found "{name}"; accepted are {", ".join(known) or "none"}')
    if not known:
        raise InputError("propellers: found no propeller with blades; an ideal disc has no states")
    if not 0.0 < airspeed < math.inf or not 0.0 <= friction < math.inf:
        raise InputError(
            f"found {airspeed:g} m/s and a friction of {friction:g} N m; accepted are above 0 and "
            "0 or more"
        )
    check_motor_tables(case)
    states: list[State] = []
    slopes: dict[str, Derivatives] = {}
    general: list[str] = []
    seen: set[int] = set()
    for unit in placed_discs(case).units:
        item = unit.placed.definition
        if unit.placed.index in seen or item.kind == "disc" or (names and item.name not in names):
            continue
        seen.add(unit.placed.index)
        rows, slope = _of_unit(case, unit, airspeed, friction)
        states += rows
        general += [item.name] if unit.rotor is not None and unit.rotor.general else []
        if slope is not None:
            slopes[item.name] = slope
    return OffDesign(airspeed, tuple(states), slopes, tuple(general))


def _of_unit(
    case: Case, unit: Unit, airspeed: float, friction: float
) -> tuple[list[State], Derivatives | None]:
    air, item, rotor = case.air, unit.placed.definition, unit.rotor
    onset = np.zeros_like(unit.samples) + airspeed * unit.axes[0][:, None, None]

    def driven() -> tuple[float, float, float, float]:
        state = unit_state(unit, air, airspeed, onset, None)
        shaft = state.shaft
        if shaft is None:
            raise ValueError("a propeller has a shaft")
        return shaft.pitch, shaft.omega, shaft.thrust, shaft.torque

    made: list[tuple[str, Callable[[], tuple[float, float, float, float]]]] = [("driven", driven)]
    if rotor is not None:
        pitch = math.radians(item.pitch)
        made += [
            ("windmilling", lambda: _four(windmill(rotor, air, airspeed, pitch, friction))),
            ("stopped", lambda: _four(stopped(rotor, air, airspeed, pitch))),
            ("feathered", lambda: _four(feathered(rotor, air, airspeed))),
        ]
    else:
        made.append(("windmilling", lambda: _free(unit, case, airspeed, friction)))
    states = [_state(item, name, run, 0.5 * air.density * airspeed**2) for name, run in made]
    if rotor is None:
        remark = "a table over J does not hold it"
        states += [State(item.name, name, remark=remark) for name in ("stopped", "feathered")]
    if item.folded_drag_area is not None:
        drag = 0.5 * air.density * airspeed**2 * item.folded_drag_area
        states.append(State(item.name, "folded", 0.0, 0.0, drag, item.folded_drag_area, 0.0, 0.0))
    states[0] = _with_drive(case, unit.placed.name, item, states[0], airspeed)
    return states, _slopes(case, rotor, states[0], airspeed)


def _with_drive(case: Case, placed: str, item: Propeller, driven: State, airspeed: float) -> State:
    """The driven state with its battery power and noise, as far as they exist."""
    if driven.remark or driven.rpm <= 0.0 or driven.power <= 0.0:
        return driven
    omega, battery, noise = driven.rpm * RPM, math.nan, math.nan
    if case.aircraft is not None:
        motor = motor_of(case, placed)
        try:
            battery = motor_power(case, motor, item.name, driven.power, omega, airspeed)
        except SolveError as error:
            return replace(driven, remark=" ".join(str(error).split()))
    if 0.5 * omega * item.diameter < case.air.speed_of_sound:
        source = ToneSource(-driven.drag, driven.power, omega, item.blades or 1, item.diameter)
        away = max(OBSERVER_DISTANCE, 3.0 * item.diameter)
        tones = gutin_tones(source, case.air.speed_of_sound, away, OBSERVER_ANGLE)
        noise = tones.overall
    return replace(driven, battery=battery, noise=noise)


def _slopes(case: Case, rotor: Rotor | None, driven: State, airspeed: float) -> Derivatives | None:
    if rotor is None or not math.isfinite(driven.rpm) or driven.rpm <= 0.0:
        return None
    omega = driven.rpm * RPM
    return derivatives(rotor, case.air, airspeed, omega, math.radians(driven.pitch))


def _four(loads: object) -> tuple[float, float, float, float]:
    values = [float(getattr(loads, name)) for name in ("pitch", "omega", "thrust", "torque")]
    return values[0], values[1], values[2], values[3]


def _free(
    unit: Unit, case: Case, airspeed: float, friction: float
) -> tuple[float, float, float, float]:
    """A measured propeller turning freely, at the torque of its friction."""
    from blownwing.propeller.measured import measured_loads

    if unit.measured is None:
        raise ValueError("a propeller without blades has a table")
    inflow = np.array([airspeed, 0.0, 0.0])
    pitch = unit.placed.definition.pitch
    loads = measured_loads(unit.measured, case.air, inflow, unit.edges, pitch=pitch, power=0.0)
    for _ in range(30):  # the friction's power follows the speed
        power = -friction * loads.omega
        found = measured_loads(
            unit.measured, case.air, inflow, unit.edges, pitch=pitch, power=power
        )
        change, loads = abs(found.omega - loads.omega), found
        if change <= 1e-10 * loads.omega:
            return _four(loads)
    raise SolveError("windmill: the speed at which the table gives the friction was not found")


def _state(
    item: Propeller,
    name: str,
    run: Callable[[], tuple[float, float, float, float]],
    pressure: float,
) -> State:
    try:
        pitch, omega, thrust, torque = run()
    except SolveError as error:
        return State(item.name, name, remark=" ".join(str(error).split()))
    return State(
        propeller=item.name,
        name=name,
        pitch=math.degrees(pitch),
        rpm=omega / RPM,
        drag=-thrust,
        area=-thrust / pressure,
        torque=torque,
        power=torque * omega,
    )


def print_off_design(case: Case, found: OffDesign, console: Console) -> None:
    """Print states and derivatives; fits 80 columns and needs no colour."""
    console.print(Text(case.title or "Untitled case", style="bold"))
    console.print(
        Text(
            f"each propeller alone in axial flow at {found.airspeed:g} m/s, "
            f"density {case.air.density:.4f} kg/m³"
        )
    )
    for name in dict.fromkeys(state.propeller for state in found.states):
        console.print()
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
        for head in (name, "pitch °", "rpm", "drag N", "D/q m²", "torque N m", "power kW"):
            table.add_column(head, justify="left" if head == name else "right", no_wrap=True)
        own = [state for state in found.states if state.propeller == name]
        for s in own:
            if math.isfinite(s.drag):
                table.add_row(
                    s.name, f"{s.pitch:z.2f}", f"{s.rpm:.0f}", f"{s.drag:z.2f}", f"{s.area:z.5f}",
                    f"{s.torque:z.3f}", f"{1e-3 * s.power:z.3f}",
                )  # fmt: skip
        console.print(table)
        for words in _drive_words(own[0]):
            console.print(Padding(Text(words), (0, 0, 0, 2)))
        for s in own:
            if s.remark:
                console.print(Padding(Text(f"{s.name}: {s.remark}"), (0, 0, 0, 2)))
        if name in found.derivatives:
            _print_derivatives(found.derivatives[name], console)
    console.print()
    console.print(Text("How far to trust this", style="bold"))
    notes = (
        [f"The section of {', '.join(found.general)} {GENERAL_SECTION}"] if found.general else []
    )
    for note in (
        *notes,
        "Drag of hub, spinner and nacelle is not in it. Blades are rigid and loads quasi-steady: "
        "derivatives hold for whirl frequencies far below the blades' own. Ribner's fin holds for "
        "few narrow blades; de Young's level is from memory, its solidity not confirmed.",
        CAUTION,
    ):
        console.print(Padding(Text(note), (0, 0, 0, 2)))


def _drive_words(driven: State) -> list[str]:
    """Battery power and noise of a driven state, where it has them."""
    words = []
    if math.isfinite(driven.battery):
        words.append(
            f"driven: {1e-3 * driven.battery:.3f} kW from the battery, motor, controller and gear "
            f"{driven.power / driven.battery:.4f}"
        )
    if math.isfinite(driven.noise):
        words.append(
            f"driven: rotational noise {driven.noise:.1f} dB in free field, at "
            f"{OBSERVER_DISTANCE:g} m and 105° off the axis (Gutin's tones: indicative only)"
        )
    return words


def _print_derivatives(slope: Derivatives, console: Console) -> None:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    heads = ("driven, clockwise, on qA and qAD", "normal", "side", "pitching", "yawing")
    for head in heads:
        table.add_column(head, justify="left" if head == heads[0] else "right", no_wrap=True)
    rows = (
        ("per rad of incidence, nose up", "incidence"),
        ("per qR/V of pitch rate, nose up", "rate"),
    )
    for words, kind in rows:
        values = [getattr(slope, f"{part}_{kind}") for part in ("normal", "side", "pitch", "yaw")]
        table.add_row(words, *(f"{value:z.4f}" for value in values))
    console.print(table)
    console.print(
        Padding(
            Text(
                f"normal force per rad by formula at T/qA = {slope.loading:.3f}: Ribner "
                f"{slope.ribner:.4f}, de Young {slope.de_young:.4f}"
            ),
            (0, 0, 0, 2),
        )
    )


def write_off_design(found: OffDesign, path: Path) -> list[Path]:
    """Write states, and derivatives beside them as ``<name>_derivatives.csv``; with units.

    Errors as for `write_whole`.
    """
    columns: dict[str, list[Any]] = {
        head: [getattr(state, name) for state in found.states] for head, name in _COLUMNS.items()
    }
    written = [write_columns(path, columns)]
    if found.derivatives:
        slopes = list(found.derivatives.values())
        columns = {"propeller": list(found.derivatives)}
        for name in vars(slopes[0]):
            columns[heading(name, "1")] = [getattr(slope, name) for slope in slopes]
        written.append(write_columns(path.with_name(f"{path.stem}_derivatives.csv"), columns))
    return written
