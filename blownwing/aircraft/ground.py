"""The ground roll: integrated for any thrust, lift and drag over speed, and in closed form."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blownwing.case.air import GRAVITY
from blownwing.errors import InputError, SolveError

Array = NDArray[np.float64]
Forces = Callable[[float], tuple[float, float, float]]
"""Airspeed (m/s) to force along the ground (thrust less drag, N), lift (N), shaft power (W)."""

_NODES = 48  # Gauss-Legendre nodes in speed: forces are smooth in it


@dataclass(frozen=True)
class Roll:
    """A stretch of ground roll: distance m, time s, shaft energy J, friction and slope work J."""

    distance: float
    time: float
    energy: float
    ground_work: float


def closed_roll(
    weight: float,
    area: float,
    density: float,
    thrust: float,
    lift_coefficient: float,
    drag_coefficient: float,
    friction: float,
    speed: float,
) -> float:
    """Ground roll (m) at constant thrust and coefficients, from rest to a speed.

    s = 1/(2 g K_A) ln(1 + K_A V²/K_T), K_T = T/W − μ, K_A = ρ/(2 W/S) (μ CL − CD).

    Args:
        weight, thrust: N. area: m². density: kg/m³. speed: lift-off, m/s.
        lift_coefficient, drag_coefficient: on the wheels, drag with its induced part.
        friction: coefficient of rolling friction.

    Raises:
        SolveError: when the aircraft cannot reach the speed.

    Source: Raymer (1989), "Aircraft Design: A Conceptual Approach", section 17.8 (from memory);
    it follows from V dV = a ds with a = g (K_T + K_A V²).
    """
    k_t = thrust / weight - friction
    k_a = density * area / (2.0 * weight) * (friction * lift_coefficient - drag_coefficient)
    final = k_t + k_a * speed * speed
    if k_t <= 0.0 or final <= 0.0:
        raise SolveError(
            f"ground roll: {thrust:.0f} N of thrust do not accelerate {weight:.0f} N to "
            f"{speed:.1f} m/s against friction and drag"
        )
    ratio = k_a * speed * speed / k_t
    # ln(1 + x)/x has a limit where drag and relieved friction cancel
    shape = math.log1p(ratio) / ratio if abs(ratio) > 1e-12 else 1.0
    return speed * speed / (2.0 * GRAVITY * k_t) * shape


def rolled(
    forces: Forces,
    weight: float,
    friction: float,
    slope: float = 0.0,
    headwind: float = 0.0,
    start: float = 0.0,
    end: float = 0.0,
) -> Roll:
    """Ground roll between two airspeeds, accelerating or braking, integrated over speed.

    Args:
        forces: airspeed to (net force along the ground, lift, shaft power).
        weight: N. friction: rolling or braking coefficient, acting on weight less lift.
        slope: rise over run, uphill positive.
        headwind: m/s; ground speed is airspeed less headwind.
        start, end: airspeeds, m/s.

    Returns:
        The stretch; with a headwind of more than `start` the roll starts at rest on the ground.

    Raises:
        SolveError: where the net force does not lead from the one speed to the other.
        InputError: for speeds below zero or a wind the aircraft would be blown back by.
    """
    low, high = max(start, headwind), max(end, headwind)
    if not (math.isfinite(low) and math.isfinite(high)) or low < 0.0 or high < 0.0:
        raise InputError(f"ground roll: found speeds {start:g} and {end:g} m/s; accepted are >= 0")
    if low == high:
        return Roll(0.0, 0.0, 0.0, 0.0)
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    speeds = 0.5 * (high + low) + 0.5 * (high - low) * nodes
    steps = 0.5 * (high - low) * weights
    incline = math.atan(slope)
    mass = weight / GRAVITY
    distance = time = energy = work = 0.0
    for speed, step in zip(speeds.tolist(), steps.tolist(), strict=True):
        along, lift, power = forces(speed)
        ground = friction * max(weight * math.cos(incline) - lift, 0.0)
        ground += weight * math.sin(incline)
        acceleration = (along - ground) / mass
        if not acceleration * step > 0.0:
            verb = "accelerates" if step > 0.0 else "slows"
            raise SolveError(
                f"ground roll: at {speed:.1f} m/s the aircraft no longer {verb} "
                f"(net force {along - ground:.0f} N)"
            )
        dt = step / acceleration
        ds = (speed - headwind) * dt
        time += dt
        distance += ds
        energy += power * dt
        work += ground * ds
    return Roll(distance, time, energy, work)


def timed_roll(
    forces: Forces,
    weight: float,
    friction: float,
    end: float,
    *,
    slope: float = 0.0,
    headwind: float = 0.0,
    step: float = 0.02,
) -> tuple[Array, Array, Array]:
    """History of the roll from rest, stepped in time: the form to plot and to check `rolled` with.

    Args:
        forces, weight, friction, slope, headwind: as for `rolled`.
        end: airspeed to reach, m/s. step: s.

    Returns:
        Time s, airspeed m/s, distance m, (n,) each; the last point lies exactly at `end`.

    Raises:
        SolveError: when the aircraft stops accelerating before `end`.

    Source: classical fourth-order Runge-Kutta scheme (Kutta 1901).
    """
    incline = math.atan(slope)

    def rate(speed: float) -> float:
        along, lift, _ = forces(speed)
        ground = friction * max(weight * math.cos(incline) - lift, 0.0)
        return (along - ground - weight * math.sin(incline)) * GRAVITY / weight

    t, v, s = [0.0], [max(headwind, 0.0)], [0.0]
    while v[-1] < end:
        a = rate(v[-1])
        if not a > 1e-6:
            raise SolveError(f"ground roll: at {v[-1]:.1f} m/s the aircraft no longer accelerates")
        h = min(step, (end - v[-1]) / a)
        k2 = rate(v[-1] + 0.5 * h * a)
        k3 = rate(v[-1] + 0.5 * h * k2)
        k4 = rate(v[-1] + h * k3)
        gain = h * (a + 2.0 * k2 + 2.0 * k3 + k4) / 6.0
        if end - v[-1] - gain < 1e-12 * end:
            gain = end - v[-1]
        # the same scheme for distance: the mean of speeds at the start, twice the middle, the end
        s.append(s[-1] + h * (v[-1] - headwind) + h * h * (a + k2 + k3) / 6.0)
        t.append(t[-1] + h)
        v.append(v[-1] + gain)
    return np.array(t), np.array(v), np.array(s)
