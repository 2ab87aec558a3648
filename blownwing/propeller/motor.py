"""An electric motor and its controller, by three constants.

Torque is proportional to current above a no-load current, voltage to speed above the resistive
drop: Drela, M. (2007), "First-Order DC Electric Motor Model", MIT Aero & Astro. The controller is a
resistance in series and, if given, a supply voltage that cannot be exceeded.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blownwing.case.units import RPM
from blownwing.errors import InputError, SolveError

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Motor:
    """Constants of a motor, a gear of ratio 1 unless said.

    Attributes:
        constant: speed constant, rpm/V.
        resistance: of the windings, ohm.
        no_load_current: A.
        controller_resistance: ohm, 0 without a controller.
        supply_voltage: V, of the battery; None for as much as is needed.
        current_limit: A; None without one.
        gear: motor speed over propeller speed.
    """

    constant: float
    resistance: float
    no_load_current: float
    controller_resistance: float = 0.0
    supply_voltage: float | None = None
    current_limit: float | None = None
    gear: float = 1.0

    def __post_init__(self) -> None:
        positive = {"constant": self.constant, "gear": self.gear}
        positive |= {
            name: value
            for name, value in (
                ("supply_voltage", self.supply_voltage),
                ("current_limit", self.current_limit),
            )
            if value is not None
        }
        for name, value in positive.items():
            if not 0.0 < value < math.inf:
                raise InputError(f"motor {name}: found {value:g}; accepted is above 0")
        for name in ("resistance", "no_load_current", "controller_resistance"):
            value = getattr(self, name)
            if not 0.0 <= value < math.inf:
                raise InputError(f"motor {name}: found {value:g}; accepted is 0 or more")

    @property
    def radians_per_volt(self) -> float:
        """Speed constant in rad/s per V; its inverse is the torque constant in N m/A."""
        return self.constant * RPM


@dataclass(frozen=True)
class MotorState:
    """What a motor draws; floats or arrays of one shape.

    Attributes:
        current: A. voltage: V, in front of the controller (mean, as a throttled supply gives it);
            None of a motor known by its efficiencies only.
        electrical_power: W. shaft_power: W, at the propeller. efficiency: their ratio.
        throttle: voltage over supply voltage, or None without a supply.
    """

    current: Array | None
    voltage: Array | None
    electrical_power: Array
    shaft_power: Array
    efficiency: Array
    throttle: Array | None


def motor_state(motor: Motor, torque: ArrayLike, omega: ArrayLike) -> MotorState:
    """Electrical state for the propeller's torque (N m) and omega (rad/s), any common shape.

    i = Q Kv/gear + i0, U = Ω gear/Kv + i (R + Rc): a motor that is driven by the air (negative
    torque) gives power back, in the same formulae.

    Raises:
        InputError: values that are not finite, or a negative speed.
        SolveError: more voltage than the supply has, or more current than the limit.

    Source: Drela (2007), "First-Order DC Electric Motor Model", equations for motor torque and
    speed.
    """
    load, speed = np.broadcast_arrays(
        np.asarray(torque, dtype=np.float64), np.asarray(omega, dtype=np.float64)
    )
    if not (np.isfinite(load).all() and np.isfinite(speed).all()) or np.any(speed < 0.0):
        raise InputError("motor: accepted are finite torques and speeds of 0 or more")
    state = _state(motor, load, speed)
    voltage, current = np.asarray(state.voltage), np.asarray(state.current)
    if state.throttle is not None and np.any(state.throttle > 1.0):
        raise SolveError(
            f"motor: {float(np.max(voltage)):.4g} V are needed; the supply has "
            f"{motor.supply_voltage:g} V"
        )
    if motor.current_limit is not None and np.any(current > motor.current_limit):
        raise SolveError(
            f"motor: {float(np.max(current)):.4g} A are needed; accepted are "
            f"{motor.current_limit:g} A"
        )
    return state


def efficiency_map(motor: Motor, torque: ArrayLike, omega: ArrayLike) -> Array:
    """Efficiency over torque (n_q,) and speed (n_w,): (n_q, n_w), NaN beyond supply or current.

    Args:
        motor: the motor. torque: (n_q,) N m, above 0. omega: (n_w,) rad/s, above 0.

    NaN marks what the motor cannot do, for drawing; `motor_state` refuses it instead.

    Raises:
        InputError: a torque or speed not above 0.
    """
    load, speed = np.meshgrid(
        np.asarray(torque, dtype=np.float64), np.asarray(omega, dtype=np.float64), indexing="ij"
    )
    if np.any(load <= 0.0) or np.any(speed <= 0.0):
        raise InputError("motor map: accepted are torques and speeds above 0")
    state = _state(motor, load, speed)
    able = np.ones(load.shape, dtype=bool)
    if state.throttle is not None:
        able &= state.throttle <= 1.0
    if motor.current_limit is not None:
        able &= np.asarray(state.current) <= motor.current_limit
    return np.where(able, state.efficiency, np.nan)


def _state(motor: Motor, load: Array, speed: Array) -> MotorState:
    kv = motor.radians_per_volt
    current = load / motor.gear * kv + motor.no_load_current
    voltage = speed * motor.gear / kv + current * (motor.resistance + motor.controller_resistance)
    electrical, shaft = voltage * current, load * speed
    driving = (electrical > 0.0) & (shaft > 0.0)
    ratio = np.where(driving, shaft / np.where(driving, electrical, 1.0), 0.0)
    throttle = None if motor.supply_voltage is None else voltage / motor.supply_voltage
    return MotorState(current, voltage, electrical, shaft, ratio, throttle)
