"""The same aircraft with another number of propellers: places, sizes, blades, motors, mass."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

from blownwing.aircraft.configuration import aircraft_of
from blownwing.aircraft.power import disc_thrust_at_power, motor_of
from blownwing.case.air import air_at
from blownwing.case.aircraft import settings_of
from blownwing.case.model import Case
from blownwing.case.placed import PlacedPropeller
from blownwing.case.units import RPM
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
        definitions: names of the row's propellers in the case. motor: index of their motor.
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
    definitions: tuple[str, ...]
    motor: int


def baseline_row(case: Case) -> Row:
    """What the trade keeps of the case's own propellers: the largest mirrored row of equal blades.

    Other propellers, at the tips for instance, stay as they are.

    Raises:
        InputError: for propellers without such a row, or one whose motor has no limit on rotational
            speed.
    """
    aircraft = aircraft_of(case)
    placed = case.propeller_list()
    alike: dict[tuple[object, ...], list[PlacedPropeller]] = {}
    for item in placed:
        make, motor = item.definition, motor_of(case, item.name)
        if make.kind == "blade" and make.blade is not None:
            key = (make.diameter, make.blade, make.blades, aircraft.motors.index(motor))
            alike.setdefault(key, []).append(item)
    row = max(alike.values(), key=len, default=[])
    starboard = sorted((i for i in row if i.position[1] > 0.0), key=lambda i: i.position[1])
    if not starboard or 2 * len(starboard) != len(row) or not case.is_symmetric:
        raise InputError(
            "aircraft --trade: found propellers without one mirrored row of equal blades; accepted "
            "is such a row, since the trade moves and resizes it, and others beside it"
        )
    first = starboard[0].definition
    motor = motor_of(case, starboard[0].name)
    names = {item.name for item in row}
    driven = {item.name for item in placed if motor_of(case, item.name) is motor}
    if driven != names or motor.rpm is None:
        raise InputError(
            "aircraft --trade: found no motor with rpm for the row alone; accepted is one "
            "[[aircraft.motors]] for its propellers, with rpm, since the trade keeps its tip speed"
        )
    if motor.table is not None:
        raise InputError(
            "aircraft --trade: found a motor with a table; accepted is one of constant efficiency, "
            "since the trade makes motors of other sizes"
        )
    y = np.array([item.position[1] for item in starboard])
    z = np.array([item.position[2] for item in starboard])
    radius = 0.5 * first.diameter
    inner, outer = float(y[0] - radius), float(y[-1] + radius)
    slope, level = (0.0, float(z[0])) if y.size == 1 else np.polyfit(y, z, 1).tolist()
    placed_names = {item.name: item.definition.name for item in placed}
    cruising = settings_of(aircraft, placed_names, "cruise")
    working = sum(cruising[item.name].state == "powered" for item in starboard)
    return Row(
        count=len(row),
        inner=inner,
        outer=outer,
        diameter=first.diameter,
        fill=len(starboard) * first.diameter / (outer - inner),
        x=starboard[0].position[0],
        z=level,
        z_slope=slope,
        power=motor.power * len(row),
        tip_speed=motor.rpm * RPM * radius,
        blades=int(first.blades or 0),
        blade=case.file_path(first.blade or ""),
        active=working / len(starboard),
        definitions=tuple(dict.fromkeys(item.definition.name for item in row)),
        motor=aircraft.motors.index(motor),
    )


def diameter_for(row: Row, count: int, keep: Keep) -> float:
    """Disc diameter (m) of `count` propellers: the row's coverage, or the total disc area, kept."""
    if keep in ("coverage", "thrust"):
        return row.fill * (row.outer - row.inner) / (count / 2)
    return row.diameter * math.sqrt(row.count / count)


def motor_power(row: Row, count: int, keep: Keep, lift_off: float, density: float) -> float:
    """Shaft power (W) of each motor: the total kept, or what keeps the total thrust at lift-off.

    Thrust is kept by momentum theory (Glauert 1935, in Durand, "Aerodynamic Theory" IV, division
    L): blades are taken to lose the same share of power at each count.

    Args:
        row: the baseline's. count: of propellers. lift_off: m/s. density: kg/m³.

    Raises:
        SolveError: no thrust is found at the power.
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
    motor = aircraft.motors[row.motor]
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
    made, others = _propellers(tables["propellers"], row, places, diameter, blade)
    tables["propellers"] = made + others
    names = [str(table["name"]) for table in made]
    working = round(row.active * half)
    if row.active > 0.0:
        working = max(1, working)
    own: dict[str, Any] = tables["aircraft"]
    idle = [n for n in own["cruise"].get("idle", ()) if _base(case, n) not in row.definitions]
    own["cruise"]["idle"] = [*names[: half - working], *idle]
    own["schedule"] = _renamed(case, row, own.get("schedule", ()), names)
    if own.get("inoperative") is not None and _base(case, own["inoperative"]) in row.definitions:
        own.pop("inoperative")
    own["motors"] = list(own["motors"])
    own["motors"][row.motor] = {
        **own["motors"][row.motor],
        "propellers": names if own["motors"][row.motor].get("propellers") else [],
        "power": power,
        "rpm": omega / RPM,
    }
    if motor.continuous_power is not None:
        own["motors"][row.motor]["continuous_power"] = power * motor.continuous_power / motor.power
    own["mass"] = aircraft.mass + count * motor.mass(power) - row.count * motor.mass(motor.power)
    return Case.from_tables(tables, case.folder)


def _propellers(
    own: Sequence[dict[str, Any]], row: Row, places: Sequence[float], diameter: float, blade: Path
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Tables of the resized row's propellers, and those of the others as they were."""
    mine = [t for t in own if t["name"] in row.definitions]
    others = [t for t in own if t["name"] not in row.definitions]
    kept = ("incidence", "spin", "folded_drag_area")
    common = {k: mine[0][k] for k in kept if mine[0].get(k) is not None}
    if "folded_drag_area" in common:  # of folded blades, as their disc
        common["folded_drag_area"] *= (diameter / row.diameter) ** 2
    taken = {t["name"] for t in others}
    stem = next(s for s in ("p", "row", "lift") if not any(n.startswith(s) for n in taken))
    made = [
        {
            "name": f"{stem}{i + 1}",
            "position": [row.x, y, row.z + row.z_slope * y],
            "diameter": diameter,
            "blades": row.blades,
            "blade": str(blade),
            "mirror": True,
            "thrust": 1.0,
            **common,
        }
        for i, y in enumerate(places)
    ]
    return made, others


def _base(case: Case, name: str) -> str:
    """The definition that a placed propeller's name belongs to."""
    placed = {item.name: item.definition.name for item in case.propeller_list()}
    return placed.get(name, name)


def _renamed(
    case: Case, row: Row, schedule: Sequence[dict[str, Any]], names: list[str]
) -> list[dict[str, Any]]:
    """The schedule with the row's new names; a line for a part of the row has no successor.

    Raises:
        InputError: for such a line outside cruise, where `Row.active` says it.
    """
    result = []
    for i, line in enumerate(schedule):
        meant = {_base(case, name) for name in line["propellers"]}
        within = meant & set(row.definitions)
        if within and within != set(row.definitions):
            if list(line["phases"]) == ["cruise"]:
                continue
            raise InputError(
                f"aircraft.schedule[{i}].propellers: found a part of the row that --trade resizes; "
                "accepted is all of it or none"
            )
        rest = [name for name in line["propellers"] if _base(case, name) not in row.definitions]
        result.append({**line, "propellers": [*(names if within else []), *rest]})
    return result


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
