"""Forces and moments of one speed and thrust over incidence, from coupled solves."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blownwing.aircraft.configuration import Configuration, operating_case
from blownwing.case.model import Case
from blownwing.coupling.assembly import Brief, brief
from blownwing.coupling.near import Left, differs_by_incidence, reached, several_at
from blownwing.errors import InputError, SolveError
from blownwing.trim.balance import Trimmed, trimmed
from blownwing.trim.settings import limits_of

Array = NDArray[np.float64]

FORCES = (
    "lift", "drag", "along", "up", "moment", "roll", "yaw", "power", "lift_unblown",
    "tail_lift", "tail_drag", "control", "tail_least", "tail_most",
)  # fmt: skip


class State(NamedTuple):
    """What wing and propellers do at one incidence, and the controls that balance a drawn tail."""

    found: Brief
    controls: Mapping[str, float]  # deg


@dataclass(frozen=True)
class Polar:
    """What the aircraft's wing and propellers do at one airspeed and thrust.

    Forces in N, moments in N m about the reference point, power in W; one row per incidence.

    Attributes:
        airspeed: m/s. density: kg/m³. thrust: N, wanted in total.
        alphas: (n,) deg.
        values: (len(FORCES), n): wing lift and drag; propulsive force along the flight path and
            upward; pitching (nose up), rolling (starboard down), yawing (nose to starboard)
            moments of wing and propellers; shaft power; wing lift without slipstreams. Of a drawn
            tail, else 0: lift and drag of the surfaces beside the wing, angle of the control that
            balances the moment, deg, and the section cl that a tenth of its surface's area goes
            below and exceeds. The moments are then balanced in pitch.
        y: (strips,) m. share: (strips,) of the wing's area.
        loading: (n, strips) section cl on local q over the section's limit; with section tables
            degrees past the section's stall.
        strip_lift: (n, strips) N. powers: (n,) W at the shaft, by name of propeller.
        thrusts: N wanted, by name of powered propeller.
        states: as they were solved. left: from which polars much alike start.
    """

    airspeed: float
    density: float
    thrust: float
    alphas: Array
    values: Array
    y: Array
    share: Array
    loading: Array
    strip_lift: Array
    powers: Mapping[str, Array]
    thrusts: Mapping[str, float]
    states: Sequence[State]
    left: Left

    def at(self, alpha: float) -> dict[str, float]:
        """All forces at an incidence, deg.

        Raises:
            SolveError: outside the incidences solved.
        """
        row = self.values @ weights_at(self.alphas, alpha, "incidence", "deg")
        return dict(zip(FORCES, row.tolist(), strict=True))


def weights_at(nodes: Array, x: float, what: str, unit: str) -> Array:
    """Weights (n,) of the polynomial through values at nodes (n,), at a place x between them.

    nodes: increasing. x, unit: the place and its unit; what: its name, for the message.

    Raises:
        SolveError: outside the nodes: nothing is extrapolated.

    Source: Berrut & Trefethen (2004), "Barycentric Lagrange Interpolation", SIAM Review 46(3).
    """
    slack = 1e-9 * (nodes[-1] - nodes[0])
    if not nodes[0] - slack <= x <= nodes[-1] + slack:
        raise SolveError(
            f"performance tables: {what} {x:.4g} {unit} lies outside {nodes[0]:.4g} to "
            f"{nodes[-1]:.4g} {unit}"
        )
    gap = x - nodes
    nearest = int(np.argmin(np.abs(gap)))
    if abs(gap[nearest]) <= slack:
        return np.asarray(np.eye(nodes.size)[nearest])
    differences = nodes[:, None] - nodes[None, :] + np.eye(nodes.size)
    terms = 1.0 / (np.prod(differences, axis=1) * gap)
    return np.asarray(terms / terms.sum())


def _solved(case: Case, near: Polar | None) -> tuple[list[State], Left]:
    """The state at each incidence of a case, and what they leave; near: as for `solved_polar`.

    Where a tail is drawn each incidence is in balance of pitching moments, but on the wheels.
    """
    known: dict[float, State] = {}
    left, beside = Left(case, []), None if near is None else near.left
    if near is not None and beside is not None and differs_by_incidence(beside.case, case):
        known = dict(zip(near.alphas.tolist(), near.states, strict=True))
        left, beside = Left(case, list(beside.starts)), None
    solved = _in_balance(case) if case.trim is not None else _coupled(left, beside)
    return [known.get(alpha) or solved(alpha) for alpha in case.alphas], left


def _coupled(left: Left, beside: Left | None) -> Callable[[float], State]:
    several = several_at(
        left.case, lambda _, point: State(brief(left.case, point), {}), left, beside
    )
    return lambda alpha: reached(several((alpha,))[0])


def _in_balance(case: Case) -> Callable[[float], State]:
    last: Trimmed | None = None

    def solved(alpha: float) -> State:
        nonlocal last
        # Where even the widest control does not do, as in a tail's stall, the share of its limit
        # tells; the state is needed as a node of tables.
        last = trimmed(case.replace(**{"flow.alpha": alpha}), last, held=True)
        names = [item.name for item in last.trim.unknowns]
        controls = dict(zip(names, last.values.tolist(), strict=True))
        return State(brief(last.case, last.point), controls)

    return solved


def solved_polar(
    configuration: Configuration,
    airspeed: float,
    thrust: Mapping[str, float],
    alphas: tuple[float, ...] | None = None,
    ground_height: float | None = None,
    near: Polar | None = None,
) -> Polar:
    """Solve one airspeed and thrust over incidence.

    Args:
        airspeed: m/s. thrust: N, of each powered propeller. alphas: deg; absent: the
            configuration's own. ground_height: of the reference point, m; None in free air.
            near: a polar much alike, to start from; states of the same case are taken from it.

    Raises:
        InputError: linear sections in an aircraft without `section_clmax`.
        SolveError: when a state does not converge or a propeller cannot give the thrust.
    """
    alphas = configuration.alphas if alphas is None else alphas
    case = operating_case(configuration, airspeed, alphas, thrust, ground_height)
    total = sum(thrust.values())
    try:
        states, left = _solved(case, near)
    except SolveError as error:
        raise SolveError(
            f"{configuration.phase.replace('_', '-')} at {airspeed:.1f} m/s and {total:.0f} N: "
            f"{error}"
        ) from None
    rows = [_forces(configuration, case, state) for state in states]
    return Polar(
        airspeed,
        case.air.density,
        total,
        np.array(alphas),
        np.array(rows).T,
        *_on_strips(configuration, case, states),
        {
            item.name: np.array([state.found.propellers[item.name]["power"] for state in states])
            for item in case.propeller_list()
        },
        dict(thrust),
        states,
        left,
    )


def _on_strips(
    configuration: Configuration, case: Case, states: Sequence[State]
) -> tuple[Array, Array, Array, Array]:
    """y, share, loading and strip_lift of a `Polar`."""
    strips = [state.found.strips for state in states]
    y = strips[0]["y"]
    strip_area = strips[0]["width"] * strips[0]["chord"]

    def at_first(name: str) -> Array:
        """Values at the places of the first one's strips, whose ends move with incidence."""
        return np.array([np.interp(y, own["y"], own[name]) for own in strips])

    if configuration.by_tables:
        loading = -at_first("stall_margin")
    else:
        loading = at_first("cl_local_q") / section_limits(configuration, y)
    lift = np.zeros_like(loading)
    if case.flow.airspeed > 0.0:
        pressure = 0.5 * case.air.density * case.flow.airspeed**2
        lift = at_first("cl") * pressure * strip_area
    return y, strip_area / strip_area.sum(), loading, lift


def _forces(configuration: Configuration, case: Case, state: State) -> list[float]:
    """Forces of one incidence in the order of `FORCES`."""
    found = state.found
    totals = found.totals
    unit = totals.get("reference_dynamic_pressure", 0.0) * configuration.area
    span, chord = totals["span"], totals["reference_chord"]
    moment = unit * chord * totals.get("C_pitch", 0.0)
    roll = unit * span * totals.get("C_roll", 0.0)
    yaw = unit * span * totals.get("C_yaw", 0.0)
    rx, _, rz = case.wing.reference_point
    up = 0.0
    for item in case.propeller_list():
        values = found.propellers[item.name]
        x, y, z = item.position
        thrust, normal = values["thrust"], values.get("normal_force", 0.0)
        tilt = math.radians(item.incidence)
        forward = thrust * math.cos(tilt) - normal * math.sin(tilt)
        raised = thrust * math.sin(tilt) + normal * math.cos(tilt)
        moment += raised * (rx - x) - forward * (z - rz) + values.get("pitching_moment", 0.0)
        roll -= y * raised  # lift to starboard rolls the starboard wing up
        yaw -= y * forward  # thrust to starboard turns the nose to port
        turned = math.radians(totals["alpha"])
        up += forward * math.sin(turned) + raised * math.cos(turned)
    lift, drag, unblown, beside = totals["lift"], totals["drag"], totals["lift_unblown"], [0.0] * 5
    if found.surfaces:
        wing = found.surfaces["wing"]
        beside = [lift - wing["lift"], drag - wing["drag"], *_control(configuration, state)]
        lift, drag, unblown = wing["lift"], wing["drag"], unit * wing.get("CL_unblown", 0.0)
    return [
        lift,
        drag,
        totals["net_axial_force"] + totals["drag"],
        up,
        moment,
        roll,
        yaw,
        totals["power"],
        unblown,
        *beside,
    ]


def _control(configuration: Configuration, state: State) -> list[float]:
    """Angle of the control that pitches, and the loads of the sections of its surface."""
    pitch, place = configuration.pitch, configuration.pitch_surface
    if pitch is None or pitch.name not in state.controls:
        return [0.0] * 3
    surface = state.found.surfaces[place]
    name = "stall_way" if configuration.by_tables else "cl"
    return [state.controls[pitch.name], *(surface[f"{name}_{end}"] for end in ("least", "most"))]


def section_limits(configuration: Configuration, y: ArrayLike) -> Array:
    """Largest cl on local q of the sections at places y (strips,), m.

    Between the clean and the full-flap limit in proportion to the deflection.

    Raises:
        InputError: an aircraft without `section_clmax`.
    """
    aircraft, wing = configuration.aircraft, configuration.case.wing
    place = np.asarray(y, dtype=float)
    clean = aircraft.section_clmax
    if clean is None:  # refused when the case was read
        raise InputError("aircraft.section_clmax: this key is missing")
    limit = np.full(place.shape, clean)
    if aircraft.flapped_clmax is None or configuration.full_flap == 0.0:
        return limit
    at = np.abs(place) if wing.symmetric else place
    for flap in wing.flaps:
        inner, outer = wing.flap_extent(flap)
        share = max(flap.deflection, 0.0) / configuration.full_flap
        gain = share * (aircraft.flapped_clmax - clean)
        limit = np.where((at >= inner) & (at <= outer), limit + gain, limit)
    return limit


@dataclass(frozen=True)
class Balance:
    """Forces on the whole aircraft at one state; N, W, N m, tail lift up positive."""

    lift: float  # wing, propulsion and tail, across the path
    excess: float  # along the path: propulsion less all drag
    drag: float  # wing, rest and tail
    power: float
    tail_lift: float
    tail_drag: float
    wing_lift: float
    roll: float
    yaw: float
    tail_share: float  # of what the tail can give; above 1 it cannot balance
    limit: str  # what that share is of
    lack: str  # what it would take, in words
    control: float  # angle of a drawn aircraft's pitch control, deg


def balanced(
    configuration: Configuration, forces: Mapping[str, float], airspeed: float, density: float
) -> Balance:
    """Add the rest of the aircraft to wing and propellers: the tail balances the moment.

    Args:
        forces: by the names of `FORCES`, N, N m and W (see `Polar`). airspeed: m/s. density: kg/m³.

    The tail's induced drag is that of an elliptic loading, L²/(q π b²) (Glauert 1926, "The
    Elements of Aerofoil and Airscrew Theory", chapter XI); wing downwash at the tail changes its
    setting, not the lift it has to give. A drawn tail has done it in the solve.
    """
    tail = configuration.aircraft.tail
    pressure = 0.5 * density * airspeed * airspeed
    lift, induced, share = forces["tail_lift"], forces["tail_drag"], 0.0
    limit = lack = ""
    if tail is None:
        share, limit, lack = _drawn_share(configuration, forces)
    elif airspeed > 0.0:
        lift = forces["moment"] / tail.arm
        induced = lift * lift / (pressure * math.pi * tail.span**2)
        share = abs(lift) / (pressure * tail.area * tail.clmax)
        wanted = math.copysign(share * tail.clmax, lift)
        limit = "tail"
        lack = (
            f"the tail would need a lift coefficient of {wanted:.2f} to balance the moment, its "
            f"limit is {tail.clmax:g} (aircraft.tail.clmax)"
        )
    drag = (
        forces["drag"]
        + pressure * (configuration.drag_area + configuration.folded_drag_area)
        + induced
    )
    return Balance(
        lift=forces["lift"] + forces["up"] + lift,
        excess=forces["along"] - drag,
        drag=drag,
        power=forces["power"],
        tail_lift=lift,
        tail_drag=induced,
        wing_lift=forces["lift"],
        roll=forces["roll"],
        yaw=forces["yaw"],
        tail_share=share,
        limit=limit,
        lack=lack,
        control=forces["control"],
    )


def _drawn_share(
    configuration: Configuration, forces: Mapping[str, float]
) -> tuple[float, str, str]:
    """Largest share of the pitch control's limits and its surface's sections', of what, lacking."""
    pitch, place = configuration.pitch, configuration.pitch_surface
    if pitch is None:
        return 0.0, "", ""
    least, most = limits_of(pitch)
    clmax = configuration.tail_clmax
    angle = forces["control"]
    end = most if angle > 0.0 else least
    needs = [
        (
            abs(angle) / max(abs(end), 1e-9),
            pitch.name,
            f"{pitch.name} would have to stand at {angle:.1f} deg to balance the moment, its limit "
            f"is {end:g} deg (trim.unknowns)",
        )
    ]
    for load in (forces["tail_least"], forces["tail_most"]):
        if clmax is None:
            lack = f"are {abs(load):.0%} of the way to their stall to balance the moment"
        else:
            lack = (
                f"would need a cl of {load:.2f} to balance the moment, their limit is {clmax:g} "
                "(aircraft.controls.tail_clmax)"
            )
        sections = f"sections of the {place}"
        needs.append((abs(load) / (clmax or 1.0), sections, f"{sections} {lack}"))
    return max(needs)


def check_tail(configuration: Configuration, state: Balance, airspeed: float) -> None:
    """Refuse a balance that the tail cannot hold.

    airspeed: m/s, for the message.

    Raises:
        NotReached: with the lift coefficient it would need; a SolveError.
    """
    if state.tail_share > 1.0:
        raise NotReached(
            f"{configuration.phase.replace('_', '-')} at {airspeed:.1f} m/s: {state.lack}"
        )


class NotReached(SolveError):
    """The aircraft cannot do what is asked at this speed; it may at another."""
