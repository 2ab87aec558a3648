"""The fuselage as a slender body in the flow of the surfaces.

A slender body at an angle to the stream has a couple of twice its volume times the dynamic pressure
and the angle, and no force (Munk 1924, NACA Report 184); in an uneven stream, strip by strip,
dM/dx = ½π q w² α(x) with w the width and α the angle that the surfaces leave there, none where the
body passes a wing, along which the flow goes (Multhopp 1941, "Aerodynamics of the fuselage",
translated as NACA TM 1036, 1942; formula from memory). Across, the same with the height.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from blownwing.case.fuselage import Fuselage
from blownwing.case.parts import Wing
from blownwing.case.surfaces import Surface
from blownwing.coupling.model import Model, WingState
from blownwing.coupling.parts import Flow
from blownwing.wing.system import frame_velocity

Array = NDArray[np.float64]

_STRIPS = 60
_CORE = 0.25  # of the body's largest width, by which the surfaces' vortices are smoothed


def body_forces(
    body: Fuselage,
    wing: Wing,
    surfaces: Sequence[Surface],
    flow: Flow,
    model: Model,
    state: WingState,
) -> Array:
    """Force and moment (2, 3) [N, N m] of the fuselage about the flow's point, case axes.

    state: whose circulations turn the flow along the body. Sources: Munk (1924), NACA Report 184,
    for the couple; Multhopp (1941), "Aerodynamics of the fuselage", NACA TM 1036, for the uneven
    stream (formula from memory).
    """
    x = np.array([s.x for s in body.stations])
    edges = np.linspace(x[0], x[-1], _STRIPS + 1)
    at, step = 0.5 * (edges[1:] + edges[:-1]), np.diff(edges)
    width = np.interp(at, x, [s.width for s in body.stations])
    height = np.interp(at, x, [s.width if s.height is None else s.height for s in body.stations])
    middle = np.interp(at, x, [s.z for s in body.stations])
    points = np.stack((at, np.zeros_like(at), middle))
    frame = model.system.frame
    core = _CORE * float(np.max(width))
    induced = frame_velocity(model.system, frame.points(points), state.strength, core)[0]
    local = flow.onset(points) + frame.velocities(induced)
    free = np.ones(at.size)
    for lead, trail, z in _roots(wing, surfaces):
        near = np.abs(middle - z) <= 0.5 * height
        free[near & (at > lead) & (at < trail)] = 0.0
    speed = max(flow.airspeed, 1e-9)
    pressure = 0.5 * flow.air.density * flow.airspeed**2
    up, aside = local[2] / speed * free, local[1] / speed
    pitch = 0.5 * np.pi * pressure * float(np.sum(width**2 * up * step))
    yaw = 0.5 * np.pi * pressure * float(np.sum(height**2 * aside * step))
    # nose up where the flow comes from below; away from the wind where it comes from the side
    moment = np.array([0.0, pitch, -yaw])
    drag = pressure * body.drag_area * flow.direction
    where = np.array([0.5 * (x[0] + x[-1]), 0.0, float(np.mean(middle))]) - flow.point
    return np.stack((drag, moment + np.cross(where, drag)))


def _roots(wing: Wing, surfaces: Sequence[Surface]) -> list[tuple[float, float, float]]:
    """Leading and trailing edge x and height of the surfaces that cross the plane of symmetry."""
    found = []
    first = wing.stations[0]
    if wing.symmetric:
        found.append((first.x, first.x + first.chord, first.z))
    for surface in surfaces:
        root = surface.stations[0]
        if surface.at_root:
            found.append((root.x, root.x + root.chord, root.z))
    return found
