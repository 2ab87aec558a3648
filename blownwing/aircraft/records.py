"""An aircraft's results as named quantities with units, for the file, the summary and figures."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blownwing.aircraft.configuration import aircraft_of
from blownwing.aircraft.performance import Performance
from blownwing.aircraft.power import motor_of
from blownwing.aircraft.vspeeds import named_speeds
from blownwing.case.air import GRAVITY
from blownwing.solution.records import Group, Quantity, finite, valued
from blownwing.solution.variables import Variable
from blownwing.trim.settings import limits_of

Array = NDArray[np.float64]


_MEANINGS = {
    "speed": Variable("m/s", "true airspeed"),
    "lift_off": Variable("m/s", "airspeed at lift-off"),
    "stall_speed": Variable("m/s", "stall speed"),
    "unblown_stall_speed": Variable("m/s", "stall speed at zero thrust"),
    "stall_jump": Variable("m/s", "rise of the stall speed when thrust is cut"),
    "margin_after_failure": Variable("1", "airspeed over the stall speed at zero thrust"),
    "alpha": Variable("deg", "angle of attack"),
    "lift_off_alpha": Variable("deg", "angle of attack after lift-off"),
    "stall_alpha": Variable("deg", "angle of attack at the stall"),
    "alpha_margin": Variable("deg", "angle of attack left to the stall"),
    "gust_alpha": Variable("deg", "angle of attack added by the vertical gust"),
    "path": Variable("deg", "flight path"),
    "CLmax": Variable("1", "largest lift coefficient, propellers and tail included"),
    "wing_CL": Variable("1", "the wing's part of it"),
    "CL": Variable("1", "lift coefficient of the wing"),
    "first_y": Variable("m", "spanwise place of the most loaded section"),
    "thrust": Variable("N", "thrust of all powered propellers"),
    "distance": Variable("m", "distance over the ground"),
    "rotation": Variable("m", "distance rolled while rotating"),
    "closed": Variable("m", "ground roll by the closed form with mean thrust"),
    "stopping": Variable("m", "distance to stop after the failure"),
    "going": Variable("m", "distance to the screen after the failure"),
    "gradient": Variable("1", "climb gradient, sine of the angle"),
    "rate": Variable("m/s", "rate of climb"),
    "power": Variable("W", "shaft power"),
    "shaft_power": Variable("W", "shaft power"),
    "battery_power": Variable("W", "power from the battery"),
    "energy": Variable("J", "energy"),
    "drag": Variable("N", "drag of the whole aircraft"),
    "trim_drag": Variable("N", "drag of the tail: induced of a concept's, all of a drawn one"),
    "control": Variable("deg", "angle of the control that balances the pitching moment"),
    "sideslip": Variable("deg", "sideslip, wind from starboard"),
    "lift_to_drag": Variable("1", "lift over drag"),
    "efficiency": Variable("1", "work against drag over battery energy"),
    "setting": Variable("1", "of the thrust available"),
    "range": Variable("m", "range on all usable energy"),
    "range_equation": Variable("m", "range by the battery range equation"),
    "endurance": Variable("s", "endurance on all usable energy"),
    "slope": Variable("1/rad", "lift slope of the blown wing"),
    "slope_unblown": Variable("1/rad", "lift slope without slipstreams"),
    "mass_ratio": Variable("1", "mass ratio of the gust formula"),
    "alleviation": Variable("1", "gust alleviation factor"),
    "added": Variable("1", "load factor added by the gust"),
    "roll": Variable("1", "rolling moment coefficient to be held"),
    "roll_available": Variable("1", "rolling moment coefficient of full ailerons"),
    "yaw": Variable("1", "yawing moment coefficient to be held"),
    "yaw_available": Variable("1", "yawing moment coefficient of the fin"),
    "smallest_speed": Variable("m/s", "airspeed at which the controls just hold"),
    "time": Variable("s", "time"),
    "ground_work": Variable("J", "work against friction and slope"),
    "radius": Variable("m", "radius of the arc after lift-off"),
    "load_factor": Variable("1", "load factor on the arc"),
    "climb": Variable("m", "height gained"),
    "drag_work": Variable("J", "work against drag"),
    "thrust_work": Variable("J", "work of the propulsive force"),
    "work_closure": Variable(
        "1", "thrust work against drag work, height and speed gained, relative"
    ),
    "peak_power": Variable("W", "largest power from the battery"),
    "faster": Variable("m/s", "airspeed gained"),
    "load": Variable("1", "largest power of the motors at work over theirs"),
    "altitude": Variable("m", "altitude"),
    "work": Variable("W", "thrust less drag times speed, from a solve of its own"),
    "gained": Variable("W", "potential and kinetic energy gained per second on the trajectory"),
    "error": Variable("1", "their difference over the power of the thrust"),
    "continuous": Variable("W", "shaft power that may last"),
    "most": Variable("W", "most shaft power asked of one motor"),
    "minutes": Variable("min", "time above continuous power"),
    "allowed": Variable("min", "time that is allowed"),
    "ground": Variable("m/s", "minimum control speed on the ground"),
    "air": Variable("m/s", "minimum control speed in the air"),
    "touchdown": Variable("m/s", "airspeed at touchdown"),
    "approach": Variable("m", "distance from the screen to the flare"),
    "flare": Variable("m", "distance of the flare"),
    "free": Variable("m", "roll before brakes"),
    "braked": Variable("m", "roll with brakes"),
    "field": Variable("m", "distance times the field length factor"),
    "height": Variable("m", "height at which the flare begins"),
    "sink": Variable("m/s", "rate of descent on the approach"),
    "reverse": Variable("N", "reverse thrust in the braked roll"),
    "stall_load": Variable("1", "load factor at which the wing stalls"),
    "usable": Variable("J", "usable energy of the battery"),
}


def described(source: object, names: tuple[str, ...]) -> Group:
    """Scalars of an object as quantities; what is None there is left out.

    Raises:
        SolveError: for a value that is not finite.
    """
    group: Group = {}
    for name in names:
        value = getattr(source, name)
        if value is None:
            continue
        group[name] = valued(_MEANINGS[name], finite(name, float(value)))
    return group


def curve(items: list[Any], names: tuple[str, ...], over: str = "speed") -> Group:
    """Arrays of a list of states over one of their attributes.

    items: the states. over: the name of that attribute. SolveError: a value that is not finite.
    """
    group: Group = {}
    for name in (over, *names):
        values = np.array([getattr(item, name) for item in items], dtype=float)
        group[name] = valued(_MEANINGS[name], finite(name, values), (over,))
    return group


_STALL = ("speed", "alpha", "CLmax", "wing_CL", "first_y", "thrust")
_CLIMB = ("gradient", "rate", "alpha", "power", "trim_drag")
_CRUISE = (
    "alpha", "setting", "CL", "drag", "lift_to_drag", "shaft_power", "battery_power",
    "efficiency", "range", "endurance", "range_equation", "slope", "slope_unblown", "trim_drag",
)  # fmt: skip
_NOISE = (
    ("angle", "deg", "direction to the observer from straight ahead"),
    ("incoherent", "dB", "tones of take-off, powers added, re 20 uPa"),
    ("worst", "dB", "loudest position of the blades"),
    ("best", "dB", "quietest position of the blades"),
)
_LANDING = (
    "speed", "touchdown", "path", "approach", "flare", "free", "braked", "distance", "field",
    "height", "sink", "time", "reverse",
)  # fmt: skip
_SEGMENT = ("time", "distance", "climb", "energy", "drag_work", "thrust_work", "faster", "load")


def records(performance: Performance) -> dict[str, Group]:
    """Every stored group of an aircraft's results by its path.

    Raises:
        InputError: a case without an aircraft table.
        SolveError: for a value that is not finite.
    """
    p = performance
    groups = {
        f"stall/{name.replace(' ', '_')}": described(item, _STALL)
        for name, item in p.stalls.items()
    }
    groups["mass"] = _masses(p)
    groups |= _take_off(p)
    for i, item in enumerate(p.failures):
        groups[f"failure_climb/{'one' if i == 0 else 'both_sides'}"] = described(
            item,
            ("speed", "gradient", "alpha", "power", "roll", "roll_available", "yaw",
             "yaw_available", "smallest_speed", *(("sideslip",) if item.limits else ())),
        )  # fmt: skip
    groups |= _speeds(p)
    drawn = balanced_by(p)
    climb, cruise = (*_CLIMB, *drawn), (*_CRUISE, *drawn)
    groups["climb/take_off"] = curve(p.climb_take_off, climb)
    groups["climb/clean"] = curve(p.climb_clean, climb)
    groups["approach"] = described(
        p.approach,
        ("speed", "setting", "alpha", "path", "stall_speed", "stall_alpha", "unblown_stall_speed",
         "stall_jump", "alpha_margin", "gust_alpha", "power", "margin_after_failure", *drawn),
    )  # fmt: skip
    groups["landing"] = described(p.landing, _LANDING)
    if p.noise is not None:
        for place, heard in (("fly_over", p.noise.fly_over), ("edge", p.noise.edge)):
            groups[f"noise/{place}"] = {
                name: Quantity(getattr(heard, name), units, meaning, ("angle",))
                for name, units, meaning in _NOISE
            }
    groups["go_around"] = described(p.go_around, ("speed", *climb))
    groups["cruise/over_speed"] = curve(p.cruise, cruise)
    groups["cruise/given"] = described(p.cruise_at, ("speed", *cruise))
    groups |= _limits_of_balance(p)
    for name, gust in p.gusts.items():
        groups[f"gust/{name.replace(' ', '_')}"] = described(
            gust, ("mass_ratio", "alleviation", "added")
        )
        groups[f"gust/{name.replace(' ', '_')}"]["stall_load"] = valued(
            _MEANINGS["stall_load"], p.gust_limits[name.split()[0]]
        )
    groups |= _mission(p)
    groups |= {f"tables/{name}": _table(table) for name, table in p.tables.items()}
    groups["resolution"] = {
        name: Quantity(value, "1", f"coarse less own lattice at lift-off: {name}")
        for name, value in p.resolution.items()
    }
    return groups


def _take_off(p: Performance) -> dict[str, Group]:
    groups: dict[str, Group] = {}
    run = p.take_off
    groups["take_off"] = described(
        run,
        ("lift_off", "lift_off_alpha", "stall_speed", "rotation", "distance", "closed",
         "gradient", "energy"),
    )  # fmt: skip
    groups["take_off/roll"] = described(run.roll, ("distance", "time", "energy", "ground_work"))
    groups["take_off/airborne"] = described(
        run.airborne, ("radius", "load_factor", "distance", "time")
    )
    speeds, along, lift, power = run.history
    groups["take_off/on_wheels"] = {
        "speed": Quantity(speeds, "m/s", "airspeed", ("speed",)),
        "net_force": Quantity(along, "N", "thrust less aerodynamic drag", ("speed",)),
        "lift": Quantity(lift, "N", "lift", ("speed",)),
        "power": Quantity(power, "W", "shaft power", ("speed",)),
    }
    time, airspeed, distance = run.track
    groups["take_off/track"] = {
        "time": Quantity(time, "s", "time from rest", ("time",)),
        "airspeed": Quantity(airspeed, "m/s", "airspeed", ("time",)),
        "distance": Quantity(distance, "m", "distance over the ground", ("time",)),
    }
    failure = described(p.failed_take_off, ("speed", "stopping", "going"))
    if p.failed_take_off.going is not None:
        failure |= described(p.failed_take_off, ("gradient",))
    groups["failed_take_off"] = failure
    if p.failed_take_off.control is not None:
        groups["failed_take_off/control"] = described(p.failed_take_off.control, ("ground", "air"))
    if p.controlled is not None:
        raised, later = p.controlled
        groups["take_off_controlled"] = described(raised, ("lift_off", "distance"))
        groups["take_off_controlled"] |= described(later, ("speed", "stopping", "going"))
    return groups


def _speeds(p: Performance) -> dict[str, Group]:
    groups: dict[str, Group] = {}
    for speed in named_speeds(p):
        groups[f"speeds/{speed.name}"] = {
            name: Quantity(finite(name, value), units, meaning)
            for name, value, units, meaning in (
                ("speed", speed.speed, "m/s", speed.meaning),
                ("over_stall", speed.over_stall, "1", "over the stall speed"),
                ("over_control", speed.over_control, "1", "over the minimum control speed"),
                ("wanted", speed.wanted, "m/s", f"slowest by {speed.rule}, as orientation"),
            )
            if value is not None
        }
    return groups


def balanced_by(p: Performance) -> tuple[str, ...]:
    """What the states of a drawn aircraft have beside those of a concept."""
    return ("control",) if p.tables["take_off"].configuration.trim is not None else ()


def _limits_of_balance(p: Performance) -> dict[str, Group]:
    """Of a drawn aircraft: the pitch control's limits, and what a failed motor asks of each."""
    pitch = p.tables["take_off"].configuration.pitch
    if pitch is None:
        return {}
    least, most = limits_of(pitch)
    groups: dict[str, Group] = {
        "balance/pitch": {
            "least": Quantity(least, "deg", f"limit of {pitch.name}"),
            "most": Quantity(most, "deg", f"limit of {pitch.name}"),
        }
    }
    for item in p.failures:
        where = "one" if len(item.failed) == 1 else "both_sides"
        for limit in item.limits:
            section = limit.name.startswith("section")
            groups[f"balance/{where}/{limit.name.replace(' ', '_')}"] = {
                name: Quantity(finite(name, value), "1" if section else "deg", f"{words} in climb")
                for name, value, words in (
                    ("value", limit.value, limit.name),
                    ("least", limit.least, f"least {limit.name}"),
                    ("most", limit.most, f"most {limit.name}"),
                )
            }
    return groups


def _masses(p: Performance) -> Group:
    """Mass of battery, motors and the rest, the weight, and the runway of the case."""
    aircraft = aircraft_of(p.case)
    motors = sum(
        motor.mass(motor.power)
        for motor in (motor_of(p.case, item.name) for item in p.case.propeller_list())
    )
    battery = aircraft.battery.mass
    group: Group = {
        "weight": Quantity(aircraft.mass * GRAVITY, "N", "weight"),
        "total": Quantity(aircraft.mass, "kg", "mass of the aircraft"),
        "battery": Quantity(battery, "kg", "mass of the battery"),
        "motors": Quantity(motors, "kg", "mass of motors and controllers, by the case's law"),
        "rest": Quantity(aircraft.mass - battery - motors, "kg", "everything else"),
        "wing_loading": Quantity(p.wing_loading, "N/m2", "weight over wing area"),
    }
    if aircraft.take_off.runway is not None:
        group["runway"] = Quantity(aircraft.take_off.runway, "m", "length available")
    return group


def _mission(p: Performance) -> dict[str, Group]:
    mission, capacity = p.mission, aircraft_of(p.case).battery.capacity
    groups = {
        f"mission/{i}_{segment.name.replace('-', '_')}": described(segment, _SEGMENT)
        for i, segment in enumerate(mission.segments)
    }
    groups["mission"] = described(mission, ("usable", "range", "work_closure", "peak_power"))
    groups["mission"] |= _limits(p)
    count = np.arange(mission.time.size, dtype=float)
    groups["mission/history"] = {
        "sample": Quantity(count, "1", "sample", ("sample",)),
        "time": Quantity(mission.time, "s", "time", ("sample",)),
        "battery_power": Quantity(mission.power, "W", "power from the battery", ("sample",)),
        "energy": Quantity(mission.charge, "J", "energy used", ("sample",)),
        "c_rate": Quantity(
            mission.power / capacity, "1/h", "battery power over its energy when full", ("sample",)
        ),
        "altitude": Quantity(mission.altitude, "m", "altitude", ("sample",)),
        "airspeed": Quantity(mission.speed, "m/s", "true airspeed", ("sample",)),
        "load": Quantity(mission.load, "1", "power of the motors at work over theirs", ("sample",)),
    }
    for i, check in enumerate(p.checks):
        groups[f"mission/energy_check_{i}_{check.where}"] = described(
            check, ("altitude", "speed", "work", "gained", "error")
        )
    for i, duty in enumerate(p.duties):
        groups[f"mission/motor_duty_{i}"] = described(
            duty, ("continuous", "most", "minutes", "allowed")
        )
    return groups


def _limits(p: Performance) -> Group:
    battery = aircraft_of(p.case).battery
    group: Group = {
        "peak_c_rate": Quantity(
            p.mission.peak_power / battery.capacity, "1/h", "largest battery power over energy"
        )
    }
    if math.isfinite(battery.power_limit):
        group["power_limit"] = Quantity(battery.power_limit, "W", "largest power of the battery")
    return group


def _table(table: Any) -> Group:
    axes = ("speed", "setting", "alpha")
    group: Group = {
        "speed": Quantity(table.speeds, "m/s", "true airspeed", ("speed",)),
        "setting": Quantity(table.settings, "1", "of the thrust at rated power", ("setting",)),
        "alpha": Quantity(table.alphas, "deg", "angle of attack", ("alpha",)),
    }
    names: Mapping[str, tuple[str, str]] = {
        "lift": ("N", "lift of the wing"),
        "drag": ("N", "drag of the wing"),
        "along": ("N", "propulsive force along the path"),
        "up": ("N", "propulsive force across the path, upward"),
        "moment": ("N m", "pitching moment of wing and propellers, nose up"),
        "power": ("W", "shaft power"),
        "lift_unblown": ("N", "lift of the wing without slipstreams"),
    }
    at: Callable[[float, float, float], dict[str, float]] = table.forces
    found = {
        (i, j, k): at(float(v), float(s), float(a))
        for i, v in enumerate(table.speeds)
        for j, s in enumerate(table.settings)
        for k, a in enumerate(table.alphas)
    }
    shape = (table.speeds.size, table.settings.size, table.alphas.size)
    for name, (units, meaning) in names.items():
        values = np.empty(shape)
        for place, forces in found.items():
            values[place] = forces[name]
        group[name] = Quantity(finite(name, values), units, meaning, axes)
    for name, error in table.errors.items():
        meaning = f"worst error of {name} at {table.samples} places between the nodes"
        group[f"{name}_error"] = Quantity(error, "1", meaning)
    return group
