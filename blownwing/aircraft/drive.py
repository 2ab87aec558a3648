"""From shaft to battery: gears, motors of constant or measured efficiency, controllers."""

from __future__ import annotations

import numpy as np

from blownwing.aircraft.configuration import Configuration
from blownwing.aircraft.polar import NotReached
from blownwing.aircraft.power import motor_of, solo_states
from blownwing.aircraft.takeoff import TakeOffRun
from blownwing.case.aircraft import Motor
from blownwing.case.model import Case
from blownwing.case.units import RPM
from blownwing.errors import InputError, SolveError
from blownwing.propeller.motor_table import read_motor_table

_ROLL_SPEEDS = 9


def check_motor_tables(case: Case) -> None:
    """Read every motor's table.

    Raises:
        InputError: one that cannot be used, or that drives an ideal disc; names the key.
    """
    motors = case.aircraft.motors if case.aircraft else ()
    for index, motor in enumerate(motors):
        if motor.table is None:
            continue
        try:
            read_motor_table(case.file_path(motor.table))
        except InputError as error:
            raise InputError(f"aircraft.motors[{index}].table: {error}") from None
        for item in case.propeller_list():
            if item.definition.kind == "disc" and motor_of(case, item.name) is motor:
                raise InputError(
                    f"aircraft.motors[{index}].table: found {item.name}, an ideal disc, which has "
                    "no rotor speed; accepted are motors of constant efficiency there"
                )


def chain_efficiency(case: Case, names: tuple[str, ...]) -> float:
    """Shaft power over power at the battery's terminals, of some propellers at equal settings.

    Of motors of constant efficiency. InputError: a propeller without a motor.
    """
    motors = [motor_of(case, name) for name in names]
    return sum(m.power for m in motors) / sum(m.power / m.chain for m in motors)


def drawn_power(
    case: Case, configuration: Configuration, speed: float, setting: float, power: float
) -> float:
    """Power at the battery's terminals, W, that turns the propellers.

    With motors from tables the rotor speeds, and how the shaft power is shared, are those of the
    propellers alone in the free stream at their thrust of this setting; their powers are scaled to
    the sum found with the wing.

    Args:
        case: the user's, for the motors. configuration: the phase. speed: m/s.
        setting: of the lever, a share of the thrust available. power: of all shafts, W.

    Raises:
        InputError: a propeller without a motor.
        NotReached: a motor's table does not reach its state; names the key. A SolveError.
    """
    names = configuration.powered
    if all(motor_of(case, name).table is None for name in names):
        return power / chain_efficiency(case, names)
    if power <= 0.0:  # driven by the air: nothing is drawn, nothing is given back
        return 0.0
    states = solo_states(case, configuration, speed, setting)
    # at no thrust a propeller may turn for next to nothing; its share stays above 0
    alone = {n: max(s.power, 1e-9 * motor_of(case, n).power) for n, s in states.items()}
    scale = power / sum(alone.values())
    drawn = 0.0
    known: dict[tuple[int, float, float], float] = {}
    for name, state in states.items():
        motor = motor_of(case, name)
        key = id(motor), scale * alone[name], state.omega
        if key not in known:
            known[key] = motor_power(case, motor, name, scale * alone[name], state.omega, speed)
        drawn += known[key]
    return drawn


def motor_power(
    case: Case, motor: Motor, name: str, power: float, omega: float, speed: float
) -> float:
    """Power that one propeller's motor draws from the battery, W.

    Args:
        case: the user's. motor, name: of the propeller. power: its shaft's, W. omega: rad/s.
        speed: m/s, for the message.

    Raises:
        NotReached: the motor's table does not reach the state; a SolveError.
    """
    if motor.table is None:
        return power / motor.chain
    table = read_motor_table(case.file_path(motor.table))
    rate = omega * motor.gear
    torque = power / motor.gear_efficiency / rate
    try:
        drawn = table.drawn(rate / RPM, torque)
    except SolveError as error:
        index = case.aircraft.motors.index(motor) if case.aircraft else 0
        raise NotReached(
            f"aircraft.motors[{index}].table: propeller {name} at {speed:.1f} m/s and "
            f"{1e-3 * power:.3g} kW: {error}; change power, rpm or gear of the motor, or measure "
            "further"
        ) from None
    return drawn / motor.controller_efficiency


def take_off_energy(case: Case, configuration: Configuration, run: TakeOffRun) -> float:
    """Energy from the battery's terminals for the take-off, J, systems left out.

    With motors from tables, what is drawn over what the shafts take, averaged over the time of the
    roll, counts for all of it.

    Raises:
        InputError: a propeller without a motor.
        SolveError: a motor's table does not reach its state.
    """
    names = configuration.powered
    if all(motor_of(case, name).table is None for name in names):
        return run.energy / chain_efficiency(case, names)
    setting = configuration.aircraft.take_off.setting
    time, speeds = run.track[0], run.track[1]
    moments = np.linspace(time[0], time[-1], _ROLL_SPEEDS)
    shaft, drawn = 0.0, 0.0
    for speed in np.interp(moments, time, speeds).tolist():
        power = float(np.interp(speed, run.history[0], run.history[3]))
        shaft += power
        drawn += drawn_power(case, configuration, speed, setting, power)
    return run.energy * drawn / shaft
