"""A designed blade made fit to be built: root and tip without spikes, a table of its stations."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from blownwing.errors import SolveError
from blownwing.propeller.design import BladeDesign, high_lift_design
from blownwing.propeller.loading import unevenness
from blownwing.propeller.rotor import axial_inflow, build_rotor
from blownwing.propeller.task import DesignTask
from blownwing.propeller.trim import trim_rotor

Array = NDArray[np.float64]

# An even stream right up to the edge asks of the last hundredths of the radius, where the tip loss
# takes nearly all that is put in, for a spike of chord and an upturn of twist that nobody builds.
TIP = 0.96  # of the radius, from where chord and twist are faired
ROOT = 0.1  # of the blade's length, up to where they are, for the same reason at the hub
ANNULI = 60
_STEPS = 8
_STIFFER = 0.8  # evenness of the next raw design, in parts of the last one's


def finished(design: BladeDesign) -> BladeDesign:
    """The blade with root and tip faired, turned to meet its task again; loads by blade elements.

    From 0.96 R outwards the chord falls as a parabola to the least chord allowed (or stays, if it
    is there); in the inner tenth its slope runs out evenly to none at the hub. At both ends the
    twist follows the helix of the blade where the fairing begins. The whole blade is then turned
    by the angle that restores thrust or power.

    Raises:
        SolveError: the finished blade cannot meet the task.
    """
    task, radius = design.task, design.task.radius
    start = TIP * radius
    outer = design.r > start
    at_chord, at_twist = (np.interp(start, design.r, v) for v in (design.chord, design.twist))
    share = (design.r[outer] - start) / (radius - start)
    chord, twist = design.chord.copy(), design.twist.copy()
    least = min(task.chord_least * radius, at_chord)
    chord[outer] = least + (at_chord - least) * (1.0 - share**2)
    twist[outer] = np.arctan(math.tan(at_twist) * start / design.r[outer])
    hub = task.hub_ratio * radius
    inner = design.r < hub + ROOT * (radius - hub)
    k = int(np.argmin(inner))  # the first station that stays
    inward = design.r[k] - design.r[inner]
    length = float(design.r[k] - hub)
    slope = (chord[k + 1] - chord[k]) / (design.r[k + 1] - design.r[k])
    chord[inner] = chord[k] - slope * (inward - inward**2 / (2.0 * length))
    twist[inner] = np.arctan(math.tan(twist[k]) * design.r[k] / design.r[inner])
    chord = np.clip(chord, least, task.chord_most * radius)
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
        axial=there(loads.axial_induced / loads.loss_factor),
        tangential=there(loads.tangential_induced / loads.loss_factor),
        loss=there(loads.loss_factor),
        thrust=loads.thrust,
        power=loads.power,
        unevenness=unevenness(loads.axial_induced, rotor.r, rotor.edges),
    )


def finished_high_lift(task: DesignTask, evenness: float) -> BladeDesign:
    """The finished high-lift blade of a given evenness, at little more than least power.

    The tip that is taken away was what made the stream even there, so that what is left of the
    blade is designed more even than asked for, by a fifth at a time.

    Args:
        task: what for. evenness: the largest `unevenness` of the finished blade.

    Raises:
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
    lines = [
        f"# {design.kind.replace('_', ' ')}: chord line through its quarter point; blade angle of "
        "the chord line to the disc plane; pitch is that of the chord line, 2 pi r tan(angle)",
        f"# section {design.task.section_name}, thickness as the section has it",
        "# Concept-level estimate, not for flight clearance; structure not examined.",
        "radius [mm],r/R [1],chord [mm],blade angle [deg],pitch [mm]",
    ]
    for x in np.linspace(design.task.hub_ratio, 1.0, 21):
        r = x * design.task.radius
        chord = float(np.interp(r, design.r, design.chord))
        angle = float(np.interp(r, design.r, design.twist))
        pitch = 2.0 * math.pi * r * math.tan(angle)
        lines.append(
            f"{1e3 * r:.2f},{x:.4f},{1e3 * chord:.2f},{math.degrees(angle):.3f},{1e3 * pitch:.1f}"
        )
    return "\n".join(lines) + "\n"
