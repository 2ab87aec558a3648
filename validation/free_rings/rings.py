"""Free vortex rings behind uniformly loaded discs: velocities and the steady state.

An ideal disc in a stream V raises the total pressure of the air that passes it by the same amount
everywhere, ρ(Vj² − V²)/2, and therefore sheds vorticity at its rim only: circulation
(Vj² − V²)/2 per unit of time, the same all round the rim (Bernoulli; Helmholtz). The sheet is cut
into one ring per time step. Every ring is a closed polygon whose corners move with the full local
velocity. Nothing is linearised and nothing is assumed about the slipstream's direction, its
contraction or its edge.

Lengths in disc radii, speeds in units of the free stream's, density 1.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from plate import Plate

from blownwing.kernels.jit import summing

Array = NDArray[np.float64]
Field = Callable[[Array], Array]


@summing
def _induced(
    part: int, parts: int, points: Array, nodes: Array, gamma: Array, core: float, out: Array
) -> None:  # pragma: no cover (compiled)
    """Velocity of chains of straight segments, see `induced`; points (p, 3), nodes (3, s)."""
    count = nodes.shape[1]
    s2 = core * core
    ex, ey, ez = np.empty(count - 1), np.empty(count - 1), np.empty(count - 1)
    weight, inverse = np.empty(count - 1), np.empty(count - 1)
    for j in range(count - 1):
        ex[j] = nodes[0, j + 1] - nodes[0, j]
        ey[j] = nodes[1, j + 1] - nodes[1, j]
        ez[j] = nodes[2, j + 1] - nodes[2, j]
        l2 = ex[j] * ex[j] + ey[j] * ey[j] + ez[j] * ez[j]
        inverse[j] = 1.0 / l2 if l2 > 0.0 else 0.0
        weight[j] = gamma[j] * inverse[j] / (4.0 * np.pi)
    sx, sy, sz = nodes[0], nodes[1], nodes[2]
    for i in range(part * points.shape[0] // parts, (part + 1) * points.shape[0] // parts):
        px, py, pz = points[i, 0], points[i, 1], points[i, 2]
        near = np.empty(count)
        for j in range(count):
            ax, ay, az = sx[j] - px, sy[j] - py, sz[j] - pz
            near[j] = 1.0 / np.sqrt(ax * ax + ay * ay + az * az + s2)
        u, v, w = 0.0, 0.0, 0.0
        for j in range(count - 1):
            ax, ay, az = sx[j] - px, sy[j] - py, sz[j] - pz
            cx = ay * ez[j] - az * ey[j]
            cy = az * ex[j] - ax * ez[j]
            cz = ax * ey[j] - ay * ex[j]
            d1 = ax * ex[j] + ay * ey[j] + az * ez[j]
            d2 = d1 + ex[j] * ex[j] + ey[j] * ey[j] + ez[j] * ez[j]
            q = 1.0 / ((cx * cx + cy * cy + cz * cz) * inverse[j] + s2)
            n1, n2 = near[j], near[j + 1]
            k = (d2 * n2 - d1 * n1) * q * (1.0 + s2 * q)
            k += 0.5 * s2 * q * (d2 * n2 * n2 * n2 - d1 * n1 * n1 * n1)
            k *= weight[j]
            u += k * cx
            v += k * cy
            w += k * cz
        out[i, 0], out[i, 1], out[i, 2] = u, v, w


def induced(points: Array, chains: Array, gamma: Array, core: float) -> Array:
    """Velocity (p, 3) at `points` (p, 3) of chains of straight vortex segments.

    Args:
        points: where, (p, 3).
        chains: corners of c chains of equal length, (c, k, 3).
        gamma: circulation of each segment, (c, k − 1).
        core: radius of the core.

    Biot and Savart with the kernel (r² + 5/2 σ²)/(r² + σ²)^(5/2) in place of 1/r³ (Winckelmans &
    Leonard 1993, J. Comput. Phys. 109, the high-order algebraic kernel, from memory), integrated
    exactly along each segment: with H² = h² + σ² and l along the segment from the foot of the
    point, [l/(H²s) (1 + σ²/H²) + σ² l/(2 H² s³)], s² = H² + l². Its error away from the core is of
    fourth order in σ, so that a tube of rings keeps its speed inside.
    """
    count, corners = chains.shape[:2]
    # One long loop for all: the links between chains carry nothing.
    strengths = np.zeros((count, corners))
    strengths[:, :-1] = gamma
    nodes = np.ascontiguousarray(chains.reshape(-1, 3).T)
    out = np.empty((points.shape[0], 3))
    _induced(np.ascontiguousarray(points), nodes, strengths.ravel()[:-1], core, out)
    return out


def _still(points: Array) -> Array:
    return np.zeros_like(points)


@dataclass(frozen=True)
class Setup:
    """One disc (or a mirrored pair) facing upstream along −x, its rim of radius 1.

    Attributes:
        ratio: speed of the far slipstream over the free stream's, μ.
        alpha: free stream's incidence to the disc axis, rad; from below is positive.
        nodes: corners of a ring, a multiple of four.
        step: time step; one ring is born in each.
        core: core radius of the rings.
        length: how far rings are followed, roughly, before the straight tail takes over.
        y: half the distance of a pair of discs, 0 for a single one.
        reach: length of the straight tail.
        heed: rings upstream of this x have to be steady. Far behind a wing its wake and the rings
            wind round each other, which hardly anything ahead of them feels.
        onset: velocity of what else there is (line vortices), points (p, 3) to (p, 3).
        wing: a plate behind the disc, or none.
        wing_core: core radius of the wing's vortices as the rings see them.
        wing_parts: bound vortices over which a panel's circulation is spread for the rings.
    """

    ratio: float
    alpha: float = 0.0
    nodes: int = 40
    step: float = 0.08
    core: float = 0.1
    length: float = 10.0
    y: float = 0.0
    reach: float = 40.0
    heed: float = np.inf
    onset: Field = _still
    wing: Plate | None = None
    wing_core: float = 0.1
    wing_parts: int = 1

    @property
    def strength(self) -> float:
        """Circulation of one ring, Δt (μ² − 1)/2: the disc's pressure jump over density."""
        return 0.5 * (self.ratio**2 - 1.0) * self.step

    @property
    def stream(self) -> Array:
        """Free stream, (3,)."""
        return np.array([np.cos(self.alpha), 0.0, np.sin(self.alpha)])

    @property
    def count(self) -> int:
        """Number of rings that are followed."""
        return int(np.ceil(self.length / (0.5 * (1.0 + self.ratio) * self.step)))

    def finer(self, factor: float) -> Setup:
        """The same with `factor` times as many corners and rings and a core that much smaller."""
        nodes = 4 * round(0.25 * self.nodes * factor)
        return replace(
            self,
            nodes=nodes,
            step=self.step / factor,
            core=self.core / factor,
            wing_core=self.wing_core / factor,
        )


def rim(setup: Setup) -> Array:
    """Corners (m, 3) of a ring at birth; of a single disc the half with y > 0.

    The polygon has the disc's area, and no corner in a plane of symmetry.
    """
    turn = 2.0 * np.pi / setup.nodes
    radius = np.sqrt(turn / np.sin(turn))
    # From the bottom over starboard to the top: the sense in which a ring blows along +x.
    angle = (np.arange(setup.nodes if setup.y else setup.nodes // 2) + 0.5) * turn
    x = np.zeros_like(angle)
    return np.stack([x, setup.y + radius * np.sin(angle), -radius * np.cos(angle)], axis=1)


def closed(setup: Setup, rings: Array) -> Array:
    """Closed polygons (c, k, 3) of all discs from the corners (r, m, 3) that are followed."""
    mirrored = rings[:, ::-1] * np.array([1.0, -1.0, 1.0])
    if not setup.y:
        return np.concatenate([rings, mirrored, rings[:, :1]], axis=1)
    pair = np.concatenate([rings, mirrored])
    return np.concatenate([pair, pair[:, :1]], axis=1)


def _tail(setup: Setup, rings: Array) -> tuple[Array, Array]:
    """Straight continuation of the last ring: copies (t, m, 3) and their weights (t,).

    Copies stand as close as the rings at first and then ever wider apart, each with the strength
    of the length it stands for.
    """
    # As mirrored rings, only the pair's sideways drift is real.
    centres = rings.mean(axis=1) * np.array([1.0, 1.0 if setup.y else 0.0, 1.0])
    shift = (centres[-1] - centres[-5]) / 4.0
    weights = [1.0] * 6
    goal = setup.reach / float(np.linalg.norm(shift))
    while sum(weights) < goal:
        weights.append(weights[-1] * 1.2)
    width = np.array(weights)
    at = 0.5 + np.cumsum(width) - 0.5 * width
    return rings[-1] + at[:, None, None] * shift, width


@dataclass
class Flow:
    """Rings at one instant: corners (r, m, 3), weights (r,) of their strength, and the wing's Γ."""

    setup: Setup
    rings: Array
    weights: Array
    gamma: Array = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        tail, weights = _tail(self.setup, self.rings)
        chains = closed(self.setup, np.concatenate([self.rings, tail]))
        strengths = self.setup.strength * np.concatenate([self.weights, weights])
        copies = 2 if self.setup.y else 1
        self._chains = chains
        self._gamma = np.repeat(np.tile(strengths, copies)[:, None], chains.shape[1] - 1, axis=1)
        wing = self.setup.wing
        if wing is not None:
            self.gamma = wing.solve(self.without_wing(wing.points))

    def without_wing(self, points: Array) -> Array:
        """Velocity (p, 3) of free stream, onset and rings."""
        flow = self.setup.stream + self.setup.onset(points)
        return flow + induced(points, self._chains, self._gamma, self.setup.core)

    def of_wing(self, points: Array, core: float) -> Array:
        """Velocity (p, 3) of the wing's vortices."""
        wing = self.setup.wing
        if wing is None:
            return np.zeros_like(points)
        out = np.zeros_like(points)
        for chains, strengths in wing.chains(self.gamma, self.setup.wing_parts):
            out += induced(points, chains, strengths, core)
        return out

    def velocity(self, points: Array) -> Array:
        """Velocity (p, 3) of everything."""
        return self.without_wing(points) + self.of_wing(points, self.setup.wing_core)

    def centre(self, x: float) -> Array:
        """Point (3,) of the slipstream's axis at x: centres of the rings, of the disc at y > 0."""
        places = np.array([_centroid(self.setup, ring) for ring in self.rings])
        return np.array([x, *(np.interp(x, places[:, 0], places[:, k]) for k in (1, 2))])

    def radius(self, x: float) -> float:
        """Radius at x: of the circle with the area that the rings enclose across x."""
        whole = closed(replace(self.setup, y=0.0), self.rings) if not self.setup.y else self.rings
        middle = self.rings[:, :, 0].mean(axis=1)
        y, z = whole[:, :, 1], whole[:, :, 2]
        area = 0.5 * np.abs(np.sum(y * np.roll(z, -1, axis=1) - z * np.roll(y, -1, axis=1), axis=1))
        return float(np.interp(x, middle, np.sqrt(area / np.pi)))


def _centroid(setup: Setup, ring: Array) -> Array:
    centre = ring.mean(axis=0)
    if not setup.y:
        centre[1] = 0.0
    return np.asarray(centre)


def start(setup: Setup) -> Array:
    """Corners (count + 1, m, 3) of a straight tube as long as the rings are followed."""
    ratio = setup.ratio
    first = rim(setup)
    along = np.arange(setup.count + 1) * setup.step * 0.5 * (1.0 + ratio)
    # Any tube would do; this one is near the answer.
    speed = 1.0 + 0.5 * (ratio - 1.0) * (1.0 + along / np.sqrt(1.0 + along**2))
    radius = np.sqrt(0.5 * (1.0 + ratio) / speed)
    centre = np.array([0.0, setup.y, 0.0])
    rings = centre + radius[:, None, None] * (first - centre)
    tilt = setup.alpha * (1.0 + ratio) / (1.0 + ratio**2)
    rings += along[:, None, None] * np.array([1.0, 0.0, tilt])
    return np.asarray(rings)


def settle(
    setup: Setup,
    tolerance: float = 1e-5,
    limit: int = 250,
    rings: Array | None = None,
    damping: float = 0.0,
) -> Flow:
    """The steady flow: every corner's path is a path in the flow that all the rings make.

    Marching in time does not get there: a vortex sheet rolls up from the smallest disturbance
    (growth π Δu/λ in time, faster the shorter the wave λ), the rings' start is one, and the tail
    feeds it back. The steady state is found from its own condition instead. Paths are integrated
    anew (trapezoidal rule, from the rim) in the flow of the paths before, until they no longer
    change. A short wave on a plane sheet shrinks by (μ − 1)/(μ + 1) in each pass, whatever its
    length.

    Args:
        setup: discs, wing, resolution.
        tolerance: largest allowed move of a corner in the last pass.
        limit: number of passes.
        rings: where to start, instead of a straight tube.
        damping: part of each change that is left out.

    Raises:
        RuntimeError: the passes do not settle.
    """
    rings = start(setup) if rings is None else rings.copy()
    weights = np.ones(len(rings))
    weights[0] = 0.5
    for _ in range(limit):
        flow = Flow(setup, rings, weights)
        speed = flow.velocity(rings.reshape(-1, 3)).reshape(rings.shape)
        path = np.cumsum(0.5 * setup.step * (speed[:-1] + speed[1:]), axis=0)
        change = np.concatenate([rings[:1], rings[0] + path]) - rings
        heeded = rings[:, :, 0].mean(axis=1) <= setup.heed
        moved = float(np.abs(change[heeded]).max())
        rings = rings + (1.0 - damping) * change
        if moved < tolerance:
            return Flow(setup, rings, weights)
    raise RuntimeError(f"rings still moved by {moved:.1e} R after {limit} passes")


def march(flow: Flow, steps: int) -> Flow:
    """The flow some time steps later, midpoint rule: a steady one stays what it is.

    At a full step the youngest ring lies on the rim and stands for half a step's vorticity; half a
    step later every ring stands in the middle of its own.
    """
    setup, rings, shape = flow.setup, flow.rings, flow.rings.shape
    for _ in range(steps):
        now = Flow(setup, rings, flow.weights)
        half = rings + 0.5 * setup.step * now.velocity(rings.reshape(-1, 3)).reshape(shape)
        middle = Flow(setup, half, np.ones(len(rings)))
        moved = rings + setup.step * middle.velocity(half.reshape(-1, 3)).reshape(shape)
        rings = np.concatenate([rings[:1], moved[:-1]])
    return Flow(setup, rings, flow.weights)
