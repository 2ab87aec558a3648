"""Planforms for the wing tests, and the unblown totals of a wing."""

import math
from pathlib import Path

import numpy as np

from blownwing import Case, solve
from blownwing.case.parts import Wing
from blownwing.geometry.lattice import build_lattice
from blownwing.wing.normals import panel_normals, panel_slopes

# swept, twisted, with dihedral, sections that differ
UNEVEN = (
    {"y": 0.0, "chord": 1.2, "twist": 1.0, "airfoil": "naca2412"},
    {"y": 3.0, "x": 0.6, "z": 0.3, "chord": 0.7, "twist": -1.0, "airfoil": "naca0012"},
)


def lattice_and_normals(rows, strips, whole=False, **wing):
    """An uneven wing's lattice and its panels' unit normals."""
    made = Wing.model_validate({"stations": UNEVEN, **wing})
    lattice = build_lattice(made, rows, strips, "cosine", whole=whole)
    return lattice, panel_normals(lattice, panel_slopes(made, lattice, Path(".")))


def wing_case(stations, alpha=1.0, flow=None, model=None, **wing):
    """A wing without propellers; incompressible unless `model` says otherwise."""
    return Case.from_tables(
        {
            "flow": {"airspeed": 30.0, "alpha": alpha, **(flow or {})},
            "wing": {"stations": stations, **wing},
            "model": {"compressibility": False, **(model or {})},
        }
    )


def totals(stations, alpha=1.0, flow=None, model=None, **wing):
    return solve(wing_case(stations, alpha, flow, model, **wing)).totals


def grid(rows, strips, spacing="cosine"):
    return {"chordwise": rows, "spanwise": strips, "spacing": spacing}


def rectangle(aspect, chord=1.0, **root):
    return [{"y": 0.0, "chord": chord, **root}, {"y": 0.5 * aspect * chord, "chord": chord, **root}]


def tapered(aspect, taper, sweep=0.0):
    """Root chord 1, unswept quarter-chord line plus `sweep` of it, rad."""
    half = 0.25 * aspect * (1.0 + taper)
    tip = 0.25 * (1.0 - taper) + half * math.tan(sweep)
    return [{"y": 0.0, "chord": 1.0}, {"y": half, "x": tip, "chord": taper}]


def elliptic(aspect, count=41, twist=None):
    """Mean chord 1, straight quarter-chord line; `count` stations at equal angles.

    twist: function of η = 2y/b giving degrees.
    """
    angle = np.linspace(0.0, 0.5 * np.pi, count)
    eta = np.sin(angle)
    chord = np.maximum(4.0 / np.pi * np.cos(angle), 1e-3)
    return [
        {
            "y": float(0.5 * aspect * e),
            "x": float(-0.25 * c),
            "chord": float(c),
            "twist": 0.0 if twist is None else float(twist(e)),
        }
        for e, c in zip(eta, chord, strict=True)
    ]


def warren():
    """Aspect ratio 2√2, taper 1/3, leading edge swept by arctan 1.35355."""
    half = math.sqrt(2.0)
    return [{"y": 0.0, "chord": 1.5}, {"y": half, "x": 1.35355 * half, "chord": 0.5}]


def bent(aspect, dihedral):
    """Rectangular with constant dihedral, rad."""
    half = 0.5 * aspect
    return [
        {"y": 0.0, "chord": 1.0},
        {"y": half, "z": half * math.tan(dihedral), "chord": 1.0},
    ]
