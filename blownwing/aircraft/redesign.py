"""The same aircraft with another number of propellers: places, sizes, blades, motors, mass."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

from blownwing.aircraft.configuration import aircraft_of
from blownwing.aircraft.power import disc_thrust_at_power, motor_of
from blownwing.case.air import air_at
from blownwing.case.model import Case
from blownwing.errors import InputError
from blownwing.propeller.blade import Blade, read_blade
from blownwing.propeller.design import minimum_loss_design
from blownwing.propeller.disc import disc_loads
from blownwing.propeller.task import DesignTask

Keep = Literal["coverage", "disc_loading", "thrust"]
TIP_SPEED_SHARE = 0.85  # design speed of rotation over the motor's limit


@dataclass(frozen=True)
class Row:
    """The baseline's row of propellers on one side.

    Attributes:
        count: on both sides. inner, outer: m, the span its discs take on one side.
        diameter: m. fill: sum of diameters over that span. x, z_slope, z: disc centres' x (m)
            and their height as z + z_slope y. power: W, of all motors. tip_speed: m/s, at the
            motors' limit. blades: number. blade: file. active: share that works in cruise.
    """

    count: int
    inner: float
    outer: float
    diameter: float
    fill: float
    x: float
    z: float
    z_slope: float
    power: float
    tip_speed: float
    blades: int
    blade: Path
    active: float


def baseline_row(case: Case) -> Row:
    """What the trade keeps of the case's own propellers.

    Raises:
        InputError: for propellers that are not one mirrored row of equal blades, or motors without
            a limit on rotational speed.
    """
    aircraft = aircraft_of(case)
    starboard = sorted(
        (item for item in case.propeller_list() if item.position[1] > 0.0),
        key=lambda item: item.position[1],
    )
    placed = case.propeller_list()
    first = starboard[0].definition if starboard else None
    motors = {id(motor_of(case, item.name)) for item in placed}
    alike = first is not None and all(
        (item.definition.diameter, item.definition.blade, item.definition.blades)
        == (first.diameter, first.blade, first.blades)
        for item in placed
    )
    if first is None or first.blade is None or not alike or not case.is_symmetric:
        raise InputError(
            "aircraft --trade: found propellers that are not one mirrored row of equal blades; "
            "accepted is such a row, since the trade moves and resizes it"
        )
    motor = motor_of(case, placed[0].name)
    if len(motors) != 1 or motor.rpm is None:
        raise InputError(
            "aircraft --trade: found several motors or none with rpm; accepted is one "
            "[[aircraft.motors]] for all propellers, with rpm, since the trade keeps its tip speed"
        )
    if motor.table is not None:
        raise InputError(
            "aircraft --trade: found a motor with a table; accepted is one of constant efficiency, "
            "since the trade makes motors of other sizes"
        )
    if 2 * len(starboard) != len(placed):
        raise InputError("aircraft --trade: found a propeller on the centre line; accepted is none")
    y = np.array([item.position[1] for item in starboard])
    z = np.array([item.position[2] for item in starboard])
    radius = 0.5 * first.diameter
    inner, outer = float(y[0] - radius), float(y[-1] + radius)
    slope, level = (0.0, float(z[0])) if y.size == 1 else np.polyfit(y, z, 1).tolist()
    idle = [n for n in aircraft.cruise.idle]
    working = sum(item.name not in idle and item.definition.name not in idle for item in starboard)
    return Row(
        count=len(placed),
        inner=inner,
        outer=outer,
        diameter=first.diameter,
        fill=len(starboard) * first.diameter / (outer - inner),
        x=starboard[0].position[0],
        z=level,
        z_slope=slope,
        power=motor.power * len(placed),
        tip_speed=motor.rpm * math.pi / 30.0 * radius,
        blades=int(first.blades or 0),
        blade=case.file_path(first.blade),
        active=working / len(starboard),
    )


def diameter_for(row: Row, count: int, keep: Keep) -> float:
    """Disc diameter (m): the row's coverage, or the total disc area, kept."""
    if keep in ("coverage", "thrust"):
        return row.fill * (row.outer - row.inner) / (count / 2)
    return row.diameter * math.sqrt(row.count / count)


def motor_power(row: Row, count: int, keep: Keep, lift_off: float, density: float) -> float:
    """Shaft power (W) of each motor: the total kept, or what keeps the total thrust at lift-off.

    Thrust is kept by momentum theory (Glauert 1935, in Durand, "Aerodynamic Theory" IV, division
    L): blades are taken to lose the same share of power at each count.

    Args:
        row: the baseline's. count: of propellers. lift_off: m/s. density: kg/m³.
    """
    if keep != "thrust":
        return row.power / count
    each = row.power / row.count
    total = row.count * disc_thrust_at_power(each, row.diameter, lift_off, density)
    return disc_loads(total / count, diameter_for(row, count, keep), lift_off, density).power


def with_propellers(
    case: Case,
    row: Row,
    count: int,
    keep: Keep,
    folder: Path,
    design_speed: float,
    lift_off: float,
) -> Case:
    """The case with `count` propellers in the row's place.

    Tip speed stays, and total motor power unless thrust is kept; blades are designed anew for
    least loss at the motor's power; motors weigh what the case's law says and the aircraft's mass
    follows.

    Args:
        case: the baseline. row: of it. count: even. keep: what of the row stays.
        folder: where the blade file goes. design_speed: of the blades, m/s.
        lift_off: m/s, where thrust is kept.

    Raises:
        InputError: when the propellers do not fit the span or the ground.
        SolveError: when no blade is found.
    """
    aircraft = aircraft_of(case)
    if count < 2 or count % 2:
        raise InputError(f"aircraft --trade: found {count} propellers; accepted are even counts")
    diameter = diameter_for(row, count, keep)
    pitch = diameter / row.fill
    tip = case.wing.span / 2.0
    if row.inner + pitch * (count / 2) - (pitch - diameter) / 2.0 > tip + diameter / 2.0 + 1e-9:
        raise InputError(
            f"{count} discs of {diameter:.2f} m need {pitch * count / 2:.2f} m of half span, the "
            f"wing has {tip - row.inner:.2f} m outboard of the fuselage"
        )
    motor = motor_of(case, case.propeller_list()[0].name)
    density = air_at(aircraft.take_off.altitude, case.flow.isa_offset, case.flow.density).density
    power = motor_power(row, count, keep, lift_off, density)
    omega = row.tip_speed / (0.5 * diameter)
    blade = _blade_file(case, row, diameter, power, TIP_SPEED_SHARE * omega, design_speed, folder)
    tables = case.model_dump(by_alias=True, exclude_none=True)
    half = count // 2
    start = row.inner + 0.5 * diameter
    places = [start + pitch * i for i in range(half)] if half > 1 else [
        0.5 * (row.inner + row.outer) if keep != "disc_loading" else row.inner + 0.5 * pitch
    ]  # fmt: skip
    original = tables["propellers"][0]
    common = {
        k: v for k, v in original.items() if k in ("incidence", "spin", "trim") and v is not None
    }
    tables["propellers"] = [
        {
            "name": f"p{i + 1}",
            "position": [row.x, y, row.z + row.z_slope * y],
            "diameter": diameter,
            "blades": row.blades,
            "blade": str(blade),
            "mirror": True,
            "thrust": 1.0,
            **{k: v for k, v in common.items() if k != "trim"},
        }
        for i, y in enumerate(places)
    ]
    working = max(1, round(row.active * half))
    own: dict[str, Any] = tables["aircraft"]
    own["cruise"]["idle"] = [f"p{i + 1}" for i in range(half - working)]
    own.pop("inoperative", None)
    own["motors"] = [
        {**own["motors"][0], "propellers": [], "power": power, "rpm": omega * 30.0 / math.pi}
    ]
    own["mass"] = aircraft.mass + count * motor.mass(power) - row.count * motor.mass(motor.power)
    return Case.from_tables(tables, case.folder)


def _blade_file(
    case: Case,
    row: Row,
    diameter: float,
    power: float,
    omega: float,
    speed: float,
    folder: Path,
) -> Path:
    """Design a blade and write it where the solver reads it."""
    base = read_blade(row.blade)
    key = base.sections[int(np.argmin(np.abs(base.radius - 0.7)))]
    aircraft = aircraft_of(case)
    task = DesignTask(
        diameter=diameter,
        hub_ratio=float(base.radius[0]),
        blades=row.blades,
        omega=omega,
        airspeed=speed,
        air=air_at(aircraft.take_off.altitude, case.flow.isa_offset),
        section=base.tables[key],
        section_name=key,
        power=power,
        lift=0.7,
        lift_limit=1.2,
        chord_least=0.02,
        chord_most=0.5,
        tip_mach=0.85,
    )
    design = minimum_loss_design(task)
    path = folder / f"blade_{diameter:.4f}_{power:.0f}.csv"
    path.write_text(_blade_text(design.blade("trade"), key, row.blade.parent), encoding="utf-8")
    return path.resolve()


def _blade_text(blade: Blade, section: str, folder: Path) -> str:
    beside = folder / section
    name = str(beside.resolve()) if beside.is_file() else section
    lines = [f"# source: {blade.source}", "r/R,c/R,twist_deg,section"]
    rows: Mapping[str, Any] = {"r": blade.radius, "c": blade.chord, "t": np.degrees(blade.twist)}
    for r, c, t in zip(rows["r"], rows["c"], rows["t"], strict=True):
        lines.append(f"{min(r, 1.0):.8f},{c:.8f},{t:.6f},{name}")
    return "\n".join(lines) + "\n"
