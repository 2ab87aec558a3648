"""Cases and references for the high-lift tests: wings on section tables, Prandtl's lifting line."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

import blownwing.airfoil
from blownwing import Case
from blownwing.airfoil.section import read_section
from blownwing.coupling.sections import Strips, balanced, lattice_section, strip_sections
from blownwing.geometry.lattice import build_lattice

CASES = Path(__file__).parents[2] / "cases"
# Measured at Re 6 million; as a file of the user the one row holds at every Reynolds number.
# C. L. Ladson (1988), NASA TM 4074; figures read in an open copy of the data.
TRIPPED = str(Path(blownwing.airfoil.__file__).parent / "data" / "naca0012_tripped_80.csv")
SMALL = {"chordwise": 2, "spanwise": 12, "compressibility": False, "sections": "tables"}
TUBES = {"jet_around": 10, "jet_rings": 8, "radial": 8, "azimuth": 6}


def scene(stations, alpha=4.0, propellers=(), flow=None, model=None, **wing):
    """A case on section tables at 30 m/s, incompressible."""
    return Case.from_tables(
        {
            "flow": {"airspeed": 30.0, "alpha": alpha, **(flow or {})},
            "wing": {"stations": stations, **wing},
            "propellers": list(propellers),
            "model": {**SMALL, **(model or {})},
        },
        folder=CASES,
    )


def straight(span=8.0, airfoil="naca2412", chord=1.0, washout=0.0):
    """Stations of a rectangular wing."""
    half = 0.5 * span
    return [
        {"y": 0.0, "chord": chord, "airfoil": airfoil},
        {"y": half, "chord": chord, "airfoil": airfoil, "twist": -washout},
    ]


def elliptic(aspect, airfoil=TRIPPED, count=41):
    """Mean chord 1, straight quarter-chord line; `count` stations at equal angles."""
    angle = np.linspace(0.0, 0.5 * np.pi, count)
    chord = np.maximum(4.0 / np.pi * np.cos(angle), 1e-3)
    return [
        {"y": float(0.5 * aspect * np.sin(t)), "x": float(-0.25 * c), "chord": float(c),
         "airfoil": airfoil}
        for t, c in zip(angle, chord, strict=True)
    ]  # fmt: skip


def pair(y=2.0, name="disc", thrust=150.0, z=0.0):
    """An ideal disc of 0.9 m and its twin."""
    return {
        "name": name,
        "kind": "disc",
        "position": [-0.6, y, z],
        "diameter": 0.9,
        "mirror": True,
        "thrust": thrust,
    }


def table_cl(degrees, name=TRIPPED):
    """cl of a table's last row at incidences in deg."""
    table = read_section(name)
    return np.interp(np.radians(degrees), table.alpha, table.cl[-1])


def exact_elliptic(aspect, name=TRIPPED):
    """Incidence (deg) and CL of an untwisted elliptic wing of any section, up to the peak.

    The induced angle stays CL/(π A) over the span whatever the section does: α = α_e + cl/(π A)
    (Prandtl 1918; Glauert 1926, "The Elements of Aerofoil and Airscrew Theory", ch. XI).
    """
    local = np.arange(0.0, 19.0, 0.01)
    cl = table_cl(local, name)
    stop = int(np.argmax(cl)) + 1
    return local[:stop] + np.degrees(cl[:stop] / (np.pi * aspect)), cl[:stop]


def prandtl_strips(aspect, alpha, strips=24):
    """The strips' balance on Prandtl's lifting line instead of the lattice; CL, smoothing.

    alpha: deg. An elliptic wing's strips are asked for the table TRIPPED.
    """
    case = scene(elliptic(aspect, count=161), model={"spanwise": strips, "chordwise": 1})
    lattice = build_lattice(case.wing, 1, strips, "cosine")
    sections, none = strip_sections(case, lattice), np.zeros((1, lattice.columns))
    plane = lattice_section(lattice, none, none, 1.0)
    left, right = lattice.edge_y[:-1], lattice.edge_y[1:]
    y = (left + lattice.fraction * (right - left))[:, None]
    eta = y[:, 0] / (0.5 * case.wing.span)
    chord = 4.0 / np.pi * np.sqrt(1.0 - eta**2)
    sections = replace(sections, chord=chord)
    down = (1 / (y - left) - 1 / (y - right) + 1 / (y + right) - 1 / (y + left)) / (4.0 * np.pi)
    lift = 0.5 * chord * plane.slope
    matrix = np.eye(lattice.columns) + lift[:, None] * down
    ones = np.ones(lattice.columns)
    response = -np.linalg.solve(matrix, np.diag(lift))
    circulation = np.linalg.solve(matrix, lift * np.radians(alpha))
    none, reynolds = 0.0 * ones, 6e6 * ones
    strips = Strips(sections, plane, circulation, none, response, ones, reynolds, 0.0, 0.0)
    found = balanced(strips, least=0.0, fresh=True)
    total = circulation + response @ found.correction
    area = 2.0 * float(lattice.width @ chord)
    return 4.0 * float(lattice.width @ total) / area, found.smoothing


if __name__ == "__main__":
    for a in (6, 8, 10):
        x, cl = exact_elliptic(a)
        print(a, cl[-1], x[-1], file=sys.stdout)
        al = np.arange(x[-1] - 1.5, x[-1] + 1.5, 0.1)
        print([(round(b, 2), round(prandtl_strips(a, b)[0], 4)) for b in al])
