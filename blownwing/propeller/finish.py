"""A designed blade made fit to be built: smooth curves within bounds, a table of its stations."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from blownwing.errors import SolveError
from blownwing.propeller.design import BladeDesign, high_lift_design, section_states
from blownwing.propeller.loading import unevenness
from blownwing.propeller.rotor import axial_inflow, build_rotor
from blownwing.propeller.task import DesignTask
from blownwing.propeller.trim import trim_rotor

Array = NDArray[np.float64]

# At both ends the loss takes nearly all that is put in: what a loading asks for there (no chord at
# the hub, a spike at the tip of an even stream) is not what one builds, and counts for nothing.
TIP = 0.96  # of the radius, from where the curves are free within their bounds
ROOT = 0.08  # of the blade's length, up to where they are
FALLING = 0.9  # of the radius, from where the chord does not grow
ANNULI = 60
_PIECES = {"chord": 7, "pitch": 5}  # cubic pieces of the curves
_SMOOTH = 1e-7  # weight of the square of the second derivative, per (radius)⁴
_GRID = 81  # places at which bounds are kept
_STEPS = 8
_STIFFER = 0.8  # evenness of the next raw design, in parts of the last one's


def finished(design: BladeDesign) -> BladeDesign:
    """The blade with chord and pitch as smooth curves within bounds; loads by blade elements.

    Chord and pitch (2πr tan of the blade angle) are cubic splines of few pieces, nearest to the
    design where it is loaded. The chord keeps to its limits, to those that thickness sets and to
    the largest slope, has one crest and does not grow outside 0.9 R; the blade angle nowhere grows
    outwards.
    The blade angle is that at which the sections of the smooth chord carry the design's load. The
    whole blade is then turned by the angle that restores thrust or power.

    Raises:
        InputError: a size that makes no rotor.
        SolveError: no such curve within the bounds, or the finished blade cannot meet the task.
    """
    task, radius = design.task, design.task.radius
    x = design.r / radius
    hub = task.hub_ratio
    loaded = design.chord * design.lift
    weight = np.where((x > hub + ROOT * (1.0 - hub)) & (x < TIP), loaded / loaded.max(), 0.0)
    # a spline of stations that crowd at the ends must not count them more
    weight *= np.gradient(x)
    chord = radius * _chord_curve(task, x, design.chord / radius, weight)
    speed = np.hypot(task.airspeed, task.omega * design.r)
    lift = np.clip(loaded / chord, 0.0, task.lift_limit)
    reynolds = task.air.density * speed * chord / task.air.viscosity
    alpha, _ = section_states(task.section, lift, reynolds, speed / task.air.speed_of_sound)
    pitch = _pitch_curve(x, x * np.tan(design.phi + alpha), weight)
    twist = np.arctan(pitch / x)
    made = replace(design, chord=chord, twist=twist)
    rotor = build_rotor(made.blade(design.kind), task.diameter, task.blades, ANNULI)
    quantity = "thrust" if task.thrust is not None else "power"
    target = task.thrust if task.thrust is not None else task.power
    _, turned, loads = trim_rotor(
        rotor, task.air, axial_inflow(rotor, task.airspeed), float(target or 0.0), quantity,
        "pitch", 0.0, omega=task.omega,
    )  # fmt: skip

    def there(values: Array) -> Array:
        return np.interp(design.r, rotor.r, values)

    return replace(
        made,
        twist=twist + turned,
        phi=there(loads.phi),
        lift=there(loads.cl),
        drag=there(loads.cd),
        alpha=there(loads.alpha),
        axial=there(loads.axial_induced),
        tangential=there(loads.tangential_induced),
        thrust=loads.thrust,
        power=loads.power,
        unevenness=unevenness(loads.axial_induced, rotor.r, rotor.edges),
    )


def _chord_curve(task: DesignTask, x: Array, chord: Array, weight: Array) -> Array:
    """Smooth c/R at stations x, within the task's limits."""
    grid = np.linspace(x[0], x[-1], _GRID)
    least = task.least_chord(grid * task.radius) / task.radius
    outer = grid >= FALLING
    most, steepest = np.full(_GRID, task.chord_most), np.full(_GRID, task.chord_slope)
    keys = "limits.chord_least, chord_most, chord_slope, root_thickness and tip_thickness"

    def curve(rising: NDArray[np.bool_], falling: NDArray[np.bool_]) -> Array:
        rows = [
            ("value", grid, least, most),
            ("slope", grid, np.where(rising, 0.0, -steepest), np.where(falling, 0.0, steepest)),
        ]
        return _curve(x, chord, weight, _PIECES["chord"], rows, keys)

    first = curve(np.zeros_like(outer), outer)
    crest = x[int(np.argmax(first))]
    return curve(grid < crest - 1e-9, (grid > crest + 1e-9) | outer)


def _pitch_curve(x: Array, pitch: Array, weight: Array) -> Array:
    """Smooth x tan β at stations x, of an angle that does not grow outwards."""
    grid = np.linspace(x[0], x[-1], _GRID)
    rows = [("turn", grid, np.full(_GRID, -math.inf), np.zeros(_GRID))]
    return _curve(x, pitch, weight, _PIECES["pitch"], rows, "limits.lift_coefficient")


def _curve(
    x: Array,
    wanted: Array,
    weight: Array,
    pieces: int,
    rows: list[tuple[str, Array, Array, Array]],
    keys: str,
) -> Array:
    """Values at x of the cubic spline nearest to what is wanted among those within bounds.

    rows: of value, slope, or "turn" (x · slope − value, which tells how an angle atan(value/x)
    grows), at places, between least and most. Raises SolveError naming the keys where there is
    none.
    """
    from scipy.interpolate import BSpline
    from scipy.optimize import minimize

    knots = np.concatenate(([x[0]] * 3, np.linspace(x[0], x[-1], pieces + 1), [x[-1]] * 3))
    count = len(knots) - 4

    def basis(places: Array, derivative: int = 0) -> Array:
        eye = BSpline(knots, np.eye(count), 3)
        return np.asarray(eye(np.clip(places, x[0], x[-1]), derivative))

    matrix, low, high = [], [], []
    for kind, places, least, most in rows:
        if kind == "turn":
            row = places[:, None] * basis(places, 1) - basis(places)
        else:
            row = basis(places, 1 if kind == "slope" else 0)
        matrix.append(row)
        low.append(least)
        high.append(most)
    bounds, low_all, high_all = np.vstack(matrix), np.concatenate(low), np.concatenate(high)
    at, bend = basis(x), basis(np.linspace(x[0], x[-1], _GRID), 2)
    scale = float(np.sum(weight * wanted**2))
    hessian = at.T @ (weight[:, None] * at) / scale
    hessian += _SMOOTH * bend.T @ bend / (_GRID * float(np.max(wanted)) ** 2)
    linear = at.T @ (weight * wanted) / scale
    upper, lower = np.isfinite(high_all), np.isfinite(low_all)
    sides = np.vstack((-bounds[upper], bounds[lower]))
    ends = np.concatenate((high_all[upper], -low_all[lower]))
    start = np.linalg.lstsq(hessian, linear, rcond=None)[0]
    found = minimize(
        lambda a: float(0.5 * a @ hessian @ a - linear @ a),
        start,
        jac=lambda a: hessian @ a - linear,
        method="SLSQP",
        constraints={"type": "ineq", "fun": lambda a: sides @ a + ends, "jac": lambda _a: sides},
        options={"maxiter": 300, "ftol": 1e-12},
    )
    if float(np.min(sides @ found.x + ends)) < -1e-6:
        raise SolveError(f"propeller design: no smooth blade was found within {keys}")
    return np.asarray(at @ found.x)


def finished_high_lift(task: DesignTask, evenness: float) -> BladeDesign:
    """The finished blade of an even stream, at little more than least power.

    The tip that is taken away was what made the stream even there, so that what is left of the
    blade is designed more even than asked for, by a fifth at a time.

    Args:
        task: what for. evenness: the largest `unevenness` of the finished blade.

    Raises:
        InputError: as for `finished`.
        SolveError: it cannot be reached; says what can.
    """
    wanted, best = evenness, math.inf
    for _ in range(_STEPS):
        try:
            made = finished(high_lift_design(task, wanted))
        except SolveError:
            if not math.isfinite(best):
                raise
            break
        if made.unevenness <= evenness:
            return made
        best, wanted = min(best, made.unevenness), _STIFFER * wanted
    raise SolveError(
        f"propeller design: an axial velocity within {evenness:.1%} of its mean is wanted; a blade "
        f"with root and tip that can be built reaches {best:.1%} at best"
    )


def stations_text(design: BladeDesign) -> str:
    """The blade's stations as a table for manufacture: CSV with units, lengths in mm."""
    task = design.task
    ratio = task.thickness_ratio
    lines = [
        f"# {design.kind.replace('_', ' ')}: chord line through its quarter point; blade angle of "
        "the chord line to the disc plane; pitch is that of the chord line, 2 pi r tan(angle)",
        f"# section {task.section_name}, thickness "
        + ("as the section has it" if ratio is None else f"{ratio:g} of the chord"),
        "# Concept-level estimate, not for flight clearance; structure not examined.",
        "radius [mm],r/R [1],chord [mm],blade angle [deg],pitch [mm]"
        + ("" if ratio is None else ",thickness [mm]"),
    ]
    for x in np.linspace(task.hub_ratio, 1.0, 21):
        r = x * task.radius
        chord = float(np.interp(r, design.r, design.chord))
        angle = float(np.interp(r, design.r, design.twist))
        pitch = 2.0 * math.pi * r * math.tan(angle)
        line = (
            f"{1e3 * r:.2f},{x:.4f},{1e3 * chord:.2f},{math.degrees(angle):.3f},{1e3 * pitch:.1f}"
        )
        lines.append(line if ratio is None else f"{line},{1e3 * chord * ratio:.3f}")
    return "\n".join(lines) + "\n"
