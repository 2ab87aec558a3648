"""Cases of a wing in slipstreams with edges, and the bare wing-in-a-tube problem beneath them."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from blownwing import Case
from blownwing.case.parts import Station, Wing
from blownwing.geometry.lattice import Lattice, build_lattice
from blownwing.geometry.tube import TubeShape, build_tubes
from blownwing.wing.blown import EdgeSystem, blown_circulation, edge_system
from blownwing.wing.system import Frame, circulation, factored_system

BLADES = Path(__file__).parents[2] / "shared" / "blades"
SPEED = 30.0
PLATE = {"stations": [{"y": 0.0, "chord": 1.0}, {"y": 4.0, "chord": 1.0}]}
COARSE = {"chordwise": 4, "spanwise": 16}


def jet(radius=0.5, ratio=1.5, y=0.0, along=0.0, name="jet", ahead=1.5, z=0.0, **more):
    """A constant jet, its axis along a stream at `along` deg, through the quarter chord + z."""
    height = z - (0.25 + ahead) * np.tan(np.radians(along))
    table = {"name": name, "kind": "disc", "position": [-ahead, y, float(height)]}
    table |= {"diameter": 2.0 * radius, "incidence": -along, "mirror": y != 0.0}
    return table | ({"speed_ratio": ratio} if "thrust" not in more else {}) | more


def blade(y=2.0, name="prop", x=-0.6, z=0.0, diameter=0.8, **more):
    """A four-bladed propeller, inboard up, mirrored unless on the centre line."""
    table = {"name": name, "position": [x, y, z], "diameter": diameter, "blades": 4}
    table |= {"blade": str(BLADES / "tunnel_4.csv"), "spin": "inboard_up", "mirror": True}
    return table | (more if {"rpm", "thrust", "power"} & set(more) else {"rpm": 3500.0, **more})


def scene(propellers, alpha=2.0, wing=None, model=None, **flow):
    """A case at 30 m/s, by default of a flat plate 1 m × 8 m, incompressible."""
    return Case.from_tables(
        {
            "flow": {"airspeed": SPEED, "alpha": alpha, **flow},
            "wing": wing or PLATE,
            "propellers": list(propellers),
            "model": {"compressibility": False, **(model or {})},
        }
    )


def increment(solution):
    """ΔCL / CL of the unblown wing."""
    return solution.totals["CL"] / solution.totals["CL_unblown"] - 1.0


@dataclass(frozen=True)
class Plate:
    """A flat rectangular wing, chord 1, through a tube on its middle; half of it, folded."""

    half_span: float
    radius: float
    edge: EdgeSystem

    @property
    def lattice(self) -> Lattice:
        return self.edge.system.lattice

    def strengths(self, ratio):
        """g (panels,) and D (tube panels,) at unit incidence and speed; ratio: V_j/V."""
        kappa = 1.0 if np.isinf(ratio) else (ratio**2 - 1.0) / (ratio**2 + 1.0)
        count = self.edge.size
        onset = np.ones(self.lattice.panels)
        contrast = np.full(count, kappa)
        return blown_circulation(self.edge, onset, contrast, np.zeros(count), 1e-11)[:2]

    def strip_strengths(self, ratio):
        """g (columns,) of the strips."""
        return self.strengths(ratio)[0].reshape(self.lattice.rows, -1).sum(axis=0)

    def lift_slope(self, ratio):
        """dCL/dα on the free stream: the force inside is μ² ρ V g."""
        lattice = self.lattice
        inside = lattice.edge_y[1:] <= self.radius * (1.0 + 1e-9)
        speed = np.where(inside, ratio, 1.0)
        lift = speed**2 * self.strip_strengths(ratio) * lattice.width
        return 2.0 * float(np.sum(lift)) / self.half_span

    def increment(self, ratio):
        """ΔCL / CL of the unblown wing."""
        return self.lift_slope(ratio) / self.lift_slope(1.0) - 1.0

    def superposed_increment(self, ratio):
        """The same with the jet's speed merely added to the wing's onset flow."""
        lattice = self.lattice
        speed = np.where(lattice.edge_y[1:] <= self.radius * (1.0 + 1e-9), ratio, 1.0)
        rows = np.tile(speed, lattice.rows)
        lift = [np.sum(circulation(self.edge.system, u) * u * lattice.bound[1])
                for u in (rows, np.ones_like(rows))]  # fmt: skip
        return float(lift[0] / lift[1]) - 1.0


def cosine_edges(low, high, count, one_sided=False):
    """Edges from low to high, crowded at both ends or at the outer one only."""
    t = np.linspace(0.0, 1.0, count + 1)
    at = np.sin(0.5 * np.pi * t) if one_sided else 0.5 * (1.0 - np.cos(np.pi * t))
    return low + (high - low) * at


def plate(half_span, radius, inside, outside, *, middle=False, rows=8, tube=(20, 32), ahead=2.0):
    """A Plate with cosine strips; inside: strips from the root to the tube's edge.

    middle: collocation points at the strips' middles instead of the middle angles; tube: panels
    around the half tube and along it; ahead: tube from that far ahead of the leading edge.
    """
    covered = radius >= half_span
    if covered:
        edges = cosine_edges(0.0, half_span, outside, True)
        fine = cosine_edges(0.0, half_span, 2 * outside, True)
    else:
        parts = [(0.0, radius, inside, True), (radius, half_span, outside, False)]
        edges = np.unique(np.concatenate([cosine_edges(*p) for p in parts]))
        fine = np.unique(np.concatenate([cosine_edges(a, b, 2 * n, s) for a, b, n, s in parts]))
    place = (fine[1::2] - edges[:-1]) / np.diff(edges)
    lattice = rectangle(edges, np.full_like(place, 0.5) if middle else place, rows)
    normals = np.zeros((3, lattice.panels))
    normals[2] = 1.0
    system = factored_system(lattice, normals, Frame())
    crossing = () if covered else ((radius, 0.0),)
    shape = TubeShape(
        start=-ahead,
        y=0.0,
        z=0.0,
        radius=radius,
        lead=0.0,
        rows=(np.arange(rows) + 0.25) / rows,
        upstream_x=np.array([-ahead, 0.0]),
        upstream_radius=np.ones(2),
        crossings=crossing,
        half=True,
    )
    return Plate(half_span, radius, edge_system(system, build_tubes([shape], *tube)))


def rectangle(edges, place, rows):
    """A folded flat lattice of chord 1 with given strip edges and places of its points."""
    wing = Wing(stations=(Station(y=0.0, chord=1.0), Station(y=float(edges[-1]), chord=1.0)))
    even = build_lattice(wing, rows, edges.size - 1, "uniform")

    def moved(points, y):
        return np.stack((points[0], np.tile(y, rows), points[2]))

    ends = np.stack(
        [moved(e, y) for e, y in zip(even.collocation_ends, (edges[:-1], edges[1:]), strict=True)]
    )
    at = edges[:-1] + place * np.diff(edges)
    bound = np.zeros_like(even.bound)
    bound[1] = np.tile(np.diff(edges), rows)
    return replace(
        even,
        edge_y=edges,
        width=np.diff(edges),
        fraction=place,
        nodes=moved(even.nodes, edges),
        collocation=moved(even.collocation, at),
        collocation_ends=ends,
        bound_point=moved(even.bound_point, at),
        bound=bound,
    )
