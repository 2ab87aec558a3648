"""The wing with the edges of its slipstreams: one block system in circulations and tube doublets.

With ψ = φ/m, m the local stream's speed over the reference speed, slope and pressure continuity on
a slipstream's edge become: ∂ψ/∂n continuous and m² ψ continuous. The edge is then a sheet of
doublets D = ψ_outside − ψ_inside = 2κ ψ_mean, κ = (μ² − 1)/(μ² + 1) with μ the speed ratio across
it, and the wing meets a uniform stream with unknown g = Γ/m. The conditions at the edge are from
Koning 1935, "Influence of the propeller on other parts of the airplane structure", in Durand,
Aerodynamic Theory IV; Glauert 1933, ARC R&M 1566 uses them for tunnel jets.

Pressure continuity says only that μ φ_i − φ_o does not change along the stream. A stream from far
upstream brings nothing; behind a disc the value is that at its rim, where a push along the axis
leaves φ as it is: D = 2κ ψ_mean − 2(μ − 1)/(μ² + 1) φ_rim. Far behind an inclined disc this is the
deflection of momentum theory (Ribner 1945, NACA Report 820), see `slipstream.streams`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from blownwing.errors import SolveError
from blownwing.geometry.ring_basis import RingBasis
from blownwing.geometry.tube import Tubes
from blownwing.kernels import jet
from blownwing.kernels.product import product
from blownwing.wing.nearfield import GAUSS, core_radii, half_lines
from blownwing.wing.passing import Passing, below_wakes, led_round
from blownwing.wing.system import DirectSolver, WingSystem, circulation

if TYPE_CHECKING:
    from blownwing.wing.compressed import Compressed
    from blownwing.wing.iterative import Each, IterativeSolver, RingForm

Array = NDArray[np.float64]

WING_SHARE = 0.1  # a wing's circulations magnify its residual more than tubes do theirs
_RESTART = 60
_STEPS = 200
_MOST_TRIED = 80  # doublets that are kept for the next pass
AFAR = 5.0  # radii from a tube's axis, beyond which its moments stand for its panels
_ALONE = 1e-5  # of the discs' own doublets, which only the far field's drag asks for


@dataclass(frozen=True)
class Held:
    """What discs decide about their tubes' doublets, for each azimuth of each tube's rim.

    D = 2κ ψ_mean + given − factor (φ − φ̄) − level φ̄, φ the rim's potential of wing and tubes, φ̄
    its mean round the rim. A constant potential does nothing, but an open tube does not know that:
    the level takes it off on both sides, as closing the tube's front would.
    """

    factor: Array  # (m,) 2 (m_i − m_o)/(m_i² + m_o²), 0 for a stream from far upstream
    given: Array  # (m,) m²/s, from the free stream across the axis and the blades' push
    level: Array  # (m,) 2κ, 0 for a stream from far upstream


@dataclass(frozen=True)
class EdgeSystem:
    """Influence of tubes and wing on each other; depends on geometry only.

    Of the tubes' doublets n are sought, on m azimuths of their rims, see `RingBasis`. Compressed
    where the wing's own influence is.
    """

    system: WingSystem
    tubes: Tubes
    nodes: Array  # (3, nodes) of the tubes, system frame
    on_wing: Array | Spread  # (panels, n), normal velocity at unit D, times `unit`
    wing_on_tube: Array | RingForm  # (n, panels), potential at unit g
    on_tube: Array | Spread  # (n, n), potential at unit D
    wing_on_rim: Array | RingForm  # (m, panels), the same at places of the tubes' rims
    tube_on_rim: Array | Spread  # (m, n)
    rims: Array  # (3, m) those places, system frame
    rim_share: Array  # (m,) weights of the mean round each tube's rim
    shapes: Array  # (tubes, places, around + MOMENTS) as in kernels.jet.tube_potential
    far: jet.Far  # what the tubes are from afar
    wakes: tuple[Passing, ...] = ()  # of surfaces ahead of a tube that pass through it
    unit: float = 1.0  # m; rounded to single precision a length would tell one scale from another

    @property
    def size(self) -> int:
        """Number of doublets that are sought."""
        return self.tubes.basis.size

    def swept(self, rim: Array) -> Array:
        """Values (…, m) of the rims at all rings of their tubes, (…, n)."""
        return np.asarray(rim[..., self.tubes.basis.rim_of])

    def gathered(self, doublets: Array) -> Array:
        """The transpose of `swept`: sums (m,) over the rings of values (n,)."""
        sums = np.bincount(self.tubes.basis.rim_of, doublets, self.rim_share.size)
        return np.asarray(sums, dtype=np.float64)

    def at_rim(self, strength: Array, doublets: Array) -> Array:
        """Potential (m,) of wing and tubes at the rims, a tube's own as its mean there."""
        return times(self.wing_on_rim, strength) + times(self.tube_on_rim, doublets)

    def lifted(self, held: Held, potential: Array) -> Array:
        """What the rims' potential (…, m) adds to the doublets of their tubes (…, m)."""
        tube = self.tubes.basis.tube_of
        first = self.tubes.basis.first[:-1] // self.tubes.basis.rings
        mean = np.add.reduceat(potential * self.rim_share, first, axis=-1)[..., tube]
        return np.asarray(-held.factor * (potential - mean) - held.level * mean)

    def lifted_back(self, held: Held, rim: Array) -> Array:
        """The transpose of `lifted`."""
        tube = self.tubes.basis.tube_of
        total = np.bincount(tube, (held.level - held.factor) * rim)[tube]
        return np.asarray(-held.factor * rim - total * self.rim_share)


@dataclass(frozen=True)
class Spread:
    """A compressed influence of all panels, taken from the doublets that are sought."""

    matrix: Compressed
    basis: RingBasis

    @property
    def T(self) -> SpreadBack:
        """The transposed matrix."""
        return SpreadBack(self)

    def __matmul__(self, x: Array) -> Array:
        return np.asarray(self.matrix @ self.basis.spread(x))


@dataclass(frozen=True)
class SpreadBack:
    """The transpose of a `Spread`."""

    whole: Spread

    def __matmul__(self, x: Array) -> Array:
        return self.whole.basis.gathered(self.whole.matrix.T @ x)


def edge_system(
    system: WingSystem,
    tubes: Tubes,
    on_tube: Array | Spread | None = None,
    afar: float | None = None,
    wakes: tuple[Passing, ...] = (),
) -> EdgeSystem:
    """Assemble the influence of tubes on wing, wing on tubes and tubes on tubes.

    on_tube: (n, n) that of the tubes on each other, without unit, where another wing's system knows
    it already; afar: distance over the radius beyond which a tube acts by its moments, AFAR where
    it is None, np.inf for never, where values are compared closely: influences are then kept in
    double precision, not in single; wakes: those that pass through tubes which start behind their
    surface.
    """
    frame, lattice = system.frame, system.lattice
    nodes = frame.points(tubes.nodes)
    middles = frame.points(tubes.middles)
    points = frame.points(lattice.collocation)
    normals = frame.normals(system.normals)
    count = tubes.panels
    basis = tubes.basis
    middles = np.ascontiguousarray(middles[:, basis.panels])
    rim, own, share = _rims(tubes, nodes)
    afar = AFAR if afar is None else afar
    shapes, far = _acting(tubes, nodes, frame.points(tubes.axes), afar)
    if count and not system.direct:
        return _compressed_edge(
            system, tubes, nodes, middles, on_tube, (rim, own, share), shapes, far
        )
    size, images = basis.size, system.images
    kept = np.float32 if np.isfinite(afar) else np.float64
    unit = float(lattice.chord.mean()) if np.isfinite(afar) else 1.0
    shape = (size, rim.shape[1])
    wing_on_tube, wing_on_rim = (np.empty((n, lattice.panels), kept) for n in shape)
    tube_on_rim = np.empty((rim.shape[1], size), kept)
    on_wing = np.empty((lattice.panels, size), kept)
    known = on_tube is not None
    if on_tube is None:
        on_tube = np.empty((size, size), kept)
    if count:
        sheet = (*nodes, tubes.around, images, shapes, basis.first, far)
        if not known:
            jet.tube_potential(*middles, basis.panels, *sheet, on_tube)
        jet.tube_potential(*rim, own, *sheet, tube_on_rim)
        jet.tube_normal(*points, *(unit * normals), *sheet, on_wing)
        jet.horseshoe_potential(*rim, *system.nodes, lattice.columns, images, wing_on_rim)
        jet.horseshoe_potential(*middles, *system.nodes, lattice.columns, images, wing_on_tube)
    for potential, at, tube in (
        (wing_on_tube, middles, basis.tube_of[basis.rim_of]),
        (wing_on_rim, rim, basis.tube_of),
    ):
        led_round(lattice, potential, *below_wakes(lattice, wakes, tube, at[1], at[2]))
    return EdgeSystem(
        system=system,
        tubes=tubes,
        nodes=nodes,
        on_wing=on_wing,
        wing_on_tube=wing_on_tube,
        on_tube=on_tube,
        wing_on_rim=wing_on_rim,
        tube_on_rim=tube_on_rim,
        rims=rim,
        rim_share=share,
        shapes=shapes,
        far=far,
        wakes=wakes,
        unit=unit,
    )


def _acting(tubes: Tubes, nodes: Array, axes: Array, afar: float) -> tuple[Array, jet.Far]:
    """What one ring's sought values make of its panels and its section's moments; see `jet.Far`.

    nodes: (3, …) and axes (3, tubes), system frame.
    """
    around, rings = tubes.around, tubes.rings
    place = nodes.reshape(3, -1, rings + 1, around + 1)
    arm = place[1:] - axes[1:, :, None, None]
    reach = np.max(np.hypot(*arm), axis=(1, 2), initial=0.0)
    # Sections are alike: of the last one's corners q, a ring's are wide[k] q and wide[k + 1] q.
    last = arm[:, :, -1, :]
    (y0, z0), (y1, z1) = last[:, :, :-1], last[:, :, 1:]
    cy, cz = 0.5 * (y0 + y1), 0.5 * (z0 + z1)
    x, y, z = 0.5 * (y0 * z1 - z0 * y1), z1 - z0, y0 - y1
    pairs = (y * cy, y * cz + z * cy, z * cz, x * cy, x * cz)
    threes = (y * cy**2, 2.0 * y * cy * cz + z * cy**2, 2.0 * z * cy * cz + y * cz**2, z * cz**2)
    section = np.stack((x, y, z, *pairs, *threes), axis=2)
    whole = np.concatenate((np.tile(np.eye(around), (reach.size, 1, 1)), section), axis=2)
    size = np.hypot(*arm[:, :, :, 0]) if reach.size else np.ones((0, rings + 1))
    wide = size / size[:, -1:]
    length, mean = np.diff(place[0, :, :, 0], axis=1), 0.5 * (wide[:, 1:] + wide[:, :-1])
    narrowing = wide[:, :-1] ** 2 - wide[:, 1:] ** 2
    one, two, three = length * mean, length * mean**2, length * mean**3
    scale = np.stack((narrowing, one, one, two, two, two, narrowing * mean, narrowing * mean,
                      three, three, three, three), axis=2)  # fmt: skip
    scale /= 4.0 * np.pi * length[:, :, None]
    shapes = np.ascontiguousarray(np.swapaxes(tubes.basis.padded, 1, 2) @ whole)
    first, second = (np.ascontiguousarray(one) for one in axes[1:])
    ends = np.stack((place[0, :, :-1, 0], place[0, :, 1:, 0]), axis=2)
    blocks = np.concatenate((jet.ring_blocks(ends, True), jet.ring_blocks(scale)), axis=2)
    return shapes, jet.Far(first, second, (afar * reach) ** 2, blocks)


def _rims(tubes: Tubes, nodes: Array) -> tuple[Array, NDArray[np.int64], Array]:
    """Places (3, m) on the tubes' front edges, the panels behind them, weights of their mean (m,).

    A front edge lies in the plane of its panel, which therefore counts with its mean there, 0.
    """
    around, rings, basis = tubes.around, tubes.rings, tubes.basis
    front = nodes.reshape(3, -1, rings + 1, around + 1)[:, :, 0, :]
    middles = 0.5 * (front[:, :, 1:] + front[:, :, :-1])
    length = np.sqrt(np.sum((front[:, :, 1:] - front[:, :, :-1]) ** 2, axis=0))
    first = np.arange(front.shape[1])[:, None] * (rings * around) + np.arange(around)
    share = length / length.sum(axis=1, keepdims=True)
    places = np.ascontiguousarray(middles.reshape(3, -1)[:, basis.rims])
    return places, first.ravel()[basis.rims], basis.gathered_rim(share.ravel())


def _compressed_edge(
    system: WingSystem,
    tubes: Tubes,
    nodes: Array,
    middles: Array,
    on_tube: Array | Spread | None,
    rims: tuple[Array, NDArray[np.int64], Array],
    shapes: Array,
    far: jet.Far,
) -> EdgeSystem:
    from blownwing.wing.compressed import compressed, rings, targets_at
    from blownwing.wing.iterative import ring_form

    lattice, images = system.lattice, system.images
    length = float(lattice.chord.mean())
    place = nodes.reshape(3, -1, tubes.rings + 1, tubes.around + 1)
    # a panel of strength D is a vortex ring of circulation −D about its outward normal
    ahead, behind = place[:, :, :-1], place[:, :, 1:]
    ring = (ahead[..., :-1], behind[..., :-1], behind[..., 1:], ahead[..., 1:])
    sheet = rings(np.stack([corner.reshape(3, -1) for corner in ring]))
    points = system.frame.points(lattice.collocation)
    wing, tube = targets_at(points, system.frame.normals(system.normals)), targets_at(middles)
    rim, own, share = rims
    front = targets_at(rim)
    basis = tubes.basis
    if on_tube is None:
        potential = compressed(tube, sheet, images, length, basis.panels)
        on_tube = Spread(potential, basis)
    return EdgeSystem(
        system=system,
        tubes=tubes,
        nodes=nodes,
        on_wing=Spread(compressed(wing, sheet, images, length), basis),
        wing_on_tube=ring_form(tube, lattice, system.nodes, images, length),
        on_tube=on_tube,
        wing_on_rim=ring_form(front, lattice, system.nodes, images, length),
        tube_on_rim=Spread(compressed(front, sheet, images, length, own), basis),
        rims=rim,
        rim_share=share,
        shapes=shapes,
        far=far,
    )


def blown_circulation(
    edge: EdgeSystem,
    normal_onset: Array,
    contrast: Array,
    start: Array,
    tolerance: float,
    guess: Array | None = None,
    held: Held | None = None,
    tried: Tried | None = None,
) -> tuple[Array, Array, Tried | None]:
    """Circulations g (panels,) and doublet strengths D (n,), m²/s, and what was tried to find them.

    normal_onset: (panels,) onset of the uniform stream, m/s; contrast: (n,) κ; start: a
    first guess of D; tolerance: relative, on D; guess: (panels,) a first guess of g, for a
    compressed system, whose residual falls WING_SHARE lower; held: what the discs decide, None for
    streams from far upstream; tried: from another call, of use where the edge system is the same.
    Raises SolveError when the iteration stalls.
    """
    if not np.any(contrast):
        bare = circulation(edge.system, normal_onset, guess, WING_SHARE * tolerance)
        return bare, np.zeros_like(contrast), None
    if not isinstance(edge.system.solver, DirectSolver):
        solver, share = edge.system.solver, WING_SHARE * tolerance
        both = _iterated_together(edge, solver, normal_onset, contrast, held, start, guess, share)
        return *both, None
    bare = circulation(edge.system, normal_onset)
    right = _asked(edge, contrast, held, *_potentials(edge, bare))
    if held is not None:
        right = right + edge.swept(held.given)
    if not np.any(right):
        return bare, right, None
    if tried is None or tried.edge is not edge or len(tried.doublets) > _MOST_TRIED:
        first = _answered(edge, start if np.any(start) else right)
        tried = Tried(edge, *(row[None] for row in first))
    shares, tried = _least_residual(contrast, held, right, tolerance, tried)
    return bare + shares @ tried.wing, shares @ tried.doublets, tried


@dataclass(frozen=True)
class Tried:
    """Doublets that were tried on an edge system, a row each, and what wing and tubes answer.

    Answers do not depend on speeds, so that those of one pass serve the next.
    """

    edge: EdgeSystem
    doublets: Array  # (k, n)
    wing: Array  # (k, panels), g
    mean: Array  # (k, n), potential of wing and tubes on the tubes
    rim: Array  # (k, m), the same at the rims


def _answered(edge: EdgeSystem, doublets: Array) -> tuple[Array, Array, Array, Array]:
    """Doublets (n,), scaled to unit size, and what wing and tubes answer, as in `Tried`."""
    size = float(np.linalg.norm(doublets))
    doublets = doublets / (size if size > 0.0 else 1.0)
    wing = circulation(edge.system, times(edge.on_wing, doublets) / edge.unit)
    return doublets, wing, *_potentials(edge, wing, doublets)


def _least_residual(
    contrast: Array, held: Held | None, right: Array, tolerance: float, tried: Tried
) -> tuple[Array, Tried]:
    """Shares (k,) of what was tried that solve for the doublets, with as many trials as it takes.

    Generalised conjugate residuals: the residual is what is tried next (Eisenstat, Elman & Schultz
    1983, SIAM J. Numer. Anal. 20, 345-357).
    """
    edge, known = tried.edge, len(tried.doublets)
    answers = tried.doublets - _asked(edge, contrast, held, tried.mean, tried.rim)
    most = known + _STEPS
    basis, mixed = np.empty((most, right.size)), np.zeros((most, most))  # room is not filled
    columns, mixed[:known, :known] = np.linalg.qr(answers.T)
    basis[:known] = columns.T
    left = right - columns @ (columns.T @ right)
    close = tolerance * float(np.linalg.norm(right))
    rows: list[tuple[Array, ...]] = []
    for k in range(known, most):
        if float(np.linalg.norm(left)) <= close:
            if rows:
                of = (tried.doublets, tried.wing, tried.mean, tried.rim)
                new = zip(of, *rows, strict=True)
                tried = Tried(edge, *(np.vstack(parts) for parts in new))
            return np.asarray(np.linalg.solve(mixed[:k, :k], basis[:k] @ right)), tried
        doublets, wing, mean, rim = _answered(edge, left)
        rows.append((doublets, wing, mean, rim))
        answer, before = doublets - _asked(edge, contrast, held, mean, rim), basis[:k]
        for _ in range(2):  # once leaves rounding errors
            part = before @ answer
            answer -= part @ before
            mixed[:k, k] += part
        mixed[k, k] = float(np.linalg.norm(answer))
        basis[k] = answer / mixed[k, k]
        left = left - basis[k] * (basis[k] @ left)
    raise SolveError("the slipstream edges did not converge (model.jet_around, model.jet_rings)")


def times(matrix: Any, x: Array) -> Array:
    """The product (n,) of an influence with x (k,), in double precision however it is kept."""
    if not isinstance(matrix, np.ndarray) or matrix.dtype == x.dtype:
        return np.asarray(matrix @ x)
    out = np.empty(matrix.shape[0])
    product(matrix, x, out)
    return out


def _potentials(
    edge: EdgeSystem, strength: Array, doublets: Array | None = None
) -> tuple[Array, Array]:
    """Potentials of wing and tubes on the tubes (n,) and at their rims (m,)."""
    mean, rim = times(edge.wing_on_tube, strength), times(edge.wing_on_rim, strength)
    if doublets is None:
        return mean, rim
    return mean + times(edge.on_tube, doublets), rim + times(edge.tube_on_rim, doublets)


def _asked(edge: EdgeSystem, contrast: Array, held: Held | None, mean: Array, rim: Array) -> Array:
    """The doublets (…, n) that potentials on tubes (…, n) and at rims (…, m) ask for."""
    asked = 2.0 * contrast * mean
    if held is not None:
        asked = asked + edge.swept(edge.lifted(held, rim))
    return np.asarray(asked)


def held_doublets(edge: EdgeSystem, held: Held, strength: Array, doublets: Array) -> Array:
    """The part (m,) of the doublets that the discs decide; it is the same all along a tube.

    strength: (panels,) g; doublets: (n,) D; both m²/s, as the result.
    """
    return held.given + edge.lifted(held, edge.at_rim(strength, doublets))


def _iterated_together(
    edge: EdgeSystem,
    solver: IterativeSolver,
    normal_onset: Array,
    contrast: Array,
    held: Held | None,
    start: Array,
    guess: Array | None,
    tolerance: float,
) -> tuple[Array, Array]:
    """The same from one iteration in g and D: the wing alone takes many steps by itself."""
    from blownwing.wing.iterative import iterated, workers

    panels, length = normal_onset.size, float(edge.system.lattice.chord.mean())

    def product(both: Array) -> Array:
        g, doublets = both[:panels], both[panels:]
        slope = solver.matrix @ g + edge.on_wing @ doublets
        left = doublets - _asked(edge, contrast, held, *_potentials(edge, g, doublets))
        return np.concatenate((slope, left / length))

    def precondition(both: Array, each: Each) -> Array:
        wing = solver.precondition(both[:panels], each)
        return np.concatenate((wing, length * both[panels:]))

    given = np.zeros_like(contrast) if held is None else edge.swept(held.given) / length
    right = np.concatenate((-normal_onset, given))
    first = None if guess is None else np.concatenate((guess, start))
    with workers() as each:
        name = "wing's and slipstreams'"
        ready = partial(precondition, each=each)
        found = iterated(product, ready, right, first, tolerance, name)
    return found[:panels], found[panels:]


class Owned(NamedTuple):
    """Points that lie on discs, and the tubes of discs, which their own discs must not feel.

    A folded lattice holds half a tube on its plane of symmetry, whose other half is its image
    there; all other images are other tubes.
    """

    owner: NDArray[np.int64]  # (n,) disc of each point, −1 for none
    tubes: NDArray[np.int64]  # (tubes,) disc of each tube
    halves: NDArray[np.int64]  # (tubes,) the system's first images that make up the tube, 1 or 2


def tube_velocity(
    edge: EdgeSystem, points: Array, doublets: Array, core: float, owned: Owned | None = None
) -> Array:
    """Velocity (3, n) [m/s] of the tubes over m at points (3, n), both in the system's frame.

    doublets: (k,) D, m²/s; core: vortex core radius, m; owned: which tubes a point does not feel.
    """
    out = np.zeros_like(points)
    count = edge.far.y.size
    if count == 0:
        return out
    if owned is None:
        unowned = np.full(count, -1)
        owned = Owned(np.full(points.shape[1], -1), unowned, unowned)
    panels, ring, axial = node_strengths(edge.tubes, doublets)
    sections = edge.shapes[:, :, edge.tubes.around :]
    sums = jet.ring_blocks(edge.tubes.basis.by_tube(doublets) @ sections)
    sums *= edge.far.blocks[:, :, 2 * jet.LANES :]
    jet.tube_velocity(
        *points, owned.owner, *edge.nodes, edge.tubes.around, edge.system.images, panels, ring,
        axial, edge.far, owned.tubes, owned.halves, sums, core, out,
    )  # fmt: skip
    return out


def nodes_of(edge: EdgeSystem, tube: int) -> tuple[slice, Array]:
    """A tube's place in the run of all nodes, and its nodes (3, n), m."""
    each = (edge.tubes.rings + 1) * (edge.tubes.around + 1)
    part = slice(tube * each, (tube + 1) * each)
    return part, np.ascontiguousarray(edge.nodes[:, part])


def node_strengths(tubes: Tubes, doublets: Array) -> tuple[Array, Array, Array]:
    """On the nodes' flat run, D of the panels and the circulations of the segments that they make.

    The segments lead to the next node of the ring and to the next ring; 0 where there is none.
    doublets: (n,) at the places where they are sought, m²/s; results (nodes,), m²/s.
    """
    strength = tubes.basis.spread(doublets).reshape(-1, tubes.rings, tubes.around)
    panels, ring, axial = np.zeros((3, len(strength), tubes.rings + 1, tubes.around + 1))
    panels[:, :-1, :-1] = strength
    ring[:, :-1, :-1] -= strength
    ring[:, 1:, :-1] += strength
    axial[:, :-1, :-1] += strength
    axial[:, :-1, 1:] -= strength
    return panels.reshape(-1), ring.reshape(-1), axial.reshape(-1)


def segment_strengths(tubes: Tubes, doublets: Array) -> tuple[Array, Array]:
    """The circulations alone of `node_strengths`, (nodes,) each; doublets: (n,), m²/s."""
    return node_strengths(tubes, doublets)[1:]


def panel_sums(tubes: Tubes, ring: Array, axial: Array) -> Array:
    """The transpose of `segment_strengths`: from values of segments to doublets (n,).

    ring, axial: (nodes,) of the segments to the next node of the ring and to the next ring.
    """
    shape = (-1, tubes.rings + 1, tubes.around + 1)
    ring, axial = ring.reshape(shape), axial.reshape(shape)
    along = ring[:, 1:, :-1] - ring[:, :-1, :-1]
    panels = along + axial[:, :-1, :-1] - axial[:, :-1, 1:]
    return tubes.basis.gathered(panels.ravel())


def far_lines(
    edge: EdgeSystem, circ: Array, contrast: Array, held: Array | None = None
) -> tuple[Array, Array, Array]:
    """Line vortices (n,) of the tubes in the Trefftz plane, their strength over m, y and z.

    Strengths in m²/s, places in m. circ: (columns,) strip sums of g, m²/s; contrast: (n,) κ; held:
    (m,) from `held_doublets`. Wake and tubes make a plane problem there, with the same condition on
    the tubes' last ring.
    """
    tubes, system = edge.tubes, edge.system
    if tubes.panels == 0 or not np.any(contrast):
        return np.zeros(0), np.zeros(0), np.zeros(0)
    count = tubes.panels // (tubes.rings * tubes.around)
    shape = (3, count, tubes.rings + 1, tubes.around + 1)
    y, z = edge.nodes.reshape(shape)[1:, :, -1, :]
    middle_y = (0.5 * (y[:, 1:] + y[:, :-1])).ravel()
    middle_z = (0.5 * (z[:, 1:] + z[:, :-1])).ravel()
    basis = tubes.basis
    kappa = np.empty(basis.rims.size)
    kappa[basis.rim_of] = contrast
    middle_y, middle_z = middle_y[basis.rims], middle_z[basis.rims]
    wake_y, wake_z = system.lattice.edge_y, system.lattice.edge_z
    wake = np.zeros((middle_y.size, circ.size))
    mutual = np.zeros((middle_y.size, tubes.around * count))
    for sy, sz, offset in system.images:
        at_y, at_z = sy * middle_y, sz * middle_z + offset
        # seen from above the wake's sheet runs from starboard to port
        wake += _angles(at_y, at_z, wake_y[None, ::-1], wake_z[None, ::-1])[:, ::-1]
        angles = _angles(at_y, at_z, y, z)
        if sy == 1.0 and sz == 1.0:
            angles[np.arange(kappa.size), basis.rims] = 0.0
        mutual += angles
    under = below_wakes(system.lattice, edge.wakes, basis.tube_of, middle_y, middle_z)
    wake[under] -= 2.0 * np.pi
    matrix = np.eye(kappa.size) + kappa[:, None] * basis.gathered_rim(mutual) / np.pi
    right = -kappa * (wake @ circ) / np.pi
    places = np.linalg.solve(matrix, right if held is None else (right + held.T).T)
    doublets = basis.spread_rim(np.asarray(places).T).reshape(-1, count, tubes.around)
    lines = np.zeros((len(doublets), *y.shape))
    lines[:, :, :-1] += doublets
    lines[:, :, 1:] -= doublets
    return lines.reshape(*places.shape[1:], -1).T, y.ravel(), z.ravel()


def held_downwash(edge: EdgeSystem, contrast: Array, held: Array) -> Array:
    """Downwash over m (columns,) at the strips' quarter chord of the streams that the discs hold.

    contrast: (n,) κ; held: (m,) from `held_doublets`, m²/s, or (m, k); the result in m/s. The tubes
    as if there were no wing: their field acts on the wing as any flow that it did not make, by all
    of it and where the wing is. The rest of the tubes' doublets answers the wing's wake, and its
    drag stands in the far plane as in a stream from far upstream. Their sum is the wing's drag; the
    energy that the discs' own doublets leave in the far plane is paid by the air that the discs
    draw in.

    Raises SolveError when the tubes' own iteration does not converge.
    """
    from scipy.sparse.linalg import LinearOperator, gmres

    system, lattice = edge.system, edge.system.lattice
    size = contrast.size
    if held.ndim == 2:
        swept = np.stack([edge.swept(one) for one in held.T], axis=1)
        alone = np.linalg.solve(
            np.eye(size) - 2.0 * contrast[:, None] * (edge.on_tube @ np.eye(size)), swept
        )
    else:
        operator = LinearOperator(
            (size, size),
            matvec=lambda d: d - 2.0 * contrast * times(edge.on_tube, d),
            dtype=np.float64,
        )
        swept = edge.swept(held)
        alone, info = gmres(
            operator, swept, x0=swept, rtol=_ALONE, atol=0.0, restart=_RESTART, maxiter=5
        )
        if info != 0:
            raise SolveError("the slipstream edges without a wing did not converge")
    normals = np.stack(
        (0.0 * lattice.dihedral, np.sin(lattice.dihedral), -np.cos(lattice.dihedral))
    )
    points = np.ascontiguousarray(system.frame.points(lattice.quarter))
    basis = edge.tubes.basis
    kept = edge.on_wing.dtype if isinstance(edge.on_wing, np.ndarray) else np.float64
    out = np.empty((lattice.columns, size), kept)  # one type for all calls of its kernel
    sheet = (edge.tubes.around, system.images, edge.shapes, basis.first, edge.far)
    jet.tube_normal(*points, *(edge.unit * normals), *edge.nodes, *sheet, out)
    return np.asarray(out @ alone) / edge.unit


def tubes_on_bound(edge: EdgeSystem, doublets: Array, lines: tuple[Array, Array, Array]) -> Array:
    """Mean velocity over m (3, panels) [m/s] of the tubes on the bound segments.

    doublets: (n,) D, m²/s; lines: from `far_lines`. Split as in `nearfield`: half the far
    field at the strips' points, the rest of vortices with a core.
    """
    system, lattice = edge.system, edge.system.lattice
    ends = system.nodes.reshape(3, lattice.rows, lattice.columns + 1)
    start, segment = ends[:, :, :-1], np.diff(ends, axis=2)
    core = core_radii(system)
    far = half_lines(system, *lines, lattice.fraction, 0.0)
    total = np.zeros_like(segment)
    total[1:] += far[:, None, :]
    points = np.stack([start + t * segment for t, _ in GAUSS])
    weights = np.array([weight for _, weight in GAUSS])
    for radius in np.unique(core).tolist():
        own = core == radius
        part = np.moveaxis(points[..., own], 1, 0)
        felt = tube_velocity(edge, np.ascontiguousarray(part).reshape(3, -1), doublets, radius)
        total[:, :, own] += np.einsum("g,cgrn->crn", weights, felt.reshape(part.shape))
    for t, weight in GAUSS:
        even = half_lines(system, *lines, np.full(lattice.columns, t), core)
        total[1:] -= weight * even[:, None, :]
    return system.frame.velocities(total.reshape(3, -1))


def _angles(at_y: Array, at_z: Array, y: Array, z: Array) -> Array:
    """Angles (n, segments) at points (n,) that polylines y, z (lines, nodes) subtend, signed."""
    dy, dz = y[None] - at_y[:, None, None], z[None] - at_z[:, None, None]
    cross = dy[:, :, :-1] * dz[:, :, 1:] - dz[:, :, :-1] * dy[:, :, 1:]
    dot = dy[:, :, :-1] * dy[:, :, 1:] + dz[:, :, :-1] * dz[:, :, 1:]
    return np.arctan2(cross, dot).reshape(at_y.size, -1)
