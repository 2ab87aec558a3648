"""What a result may contain: every variable's units, meaning and dimension, in one table.

The table drives writing, reading and the headers of exported tables; a name that is not in it is
an error. ``dim`` is the variable's own dimension (``None`` for a scalar). In a polar every
variable whose ``per_alpha`` is true gets a leading ``flow_alpha`` dimension. That dimension is not
called ``alpha`` because blades and strips have angles of attack of their own.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Variable:
    """One stored quantity: units (SI, degrees for angles), meaning, dimension."""

    units: str
    long_name: str
    dim: str | None = None
    required: bool = False
    per_alpha: bool = True


def _over(
    dim: str, units: str, long_name: str, *, required: bool = False, fixed: bool = False
) -> Variable:
    return Variable(units, long_name, dim, required, per_alpha=not fixed)


POLAR_DIMENSION = "flow_alpha"
POLAR_COORDINATE = Variable("deg", "angle of attack of the free stream", POLAR_DIMENSION)

# Of an aircraft in balance only.
BALANCED = {
    "weight": Variable("N", "weight that was balanced"),
    "trim_residual": Variable("1", "largest balanced force over weight, moment over weight c_ref"),
    "path_angle": Variable("deg", "climb angle of the trimmed flight"),
    "bank": Variable("deg", "bank of the trimmed flight, starboard wing down"),
    "neutral_point": Variable("m", "x of the neutral point, controls and drives held"),
    "neutral_point_unpowered": Variable("m", "x of the same without propellers"),
    "static_margin": Variable("1", "neutral point behind centre of gravity over c_ref"),
    "static_margin_least": Variable("1", "static margin, streams at the tail higher or lower"),
    "static_margin_most": Variable("1", "the same, the larger one"),
    "control_per_g": Variable("deg", "pitch control per g in a steady pull-up"),
}

TOTALS = {
    "alpha": Variable("deg", "angle of attack of the free stream", required=True),
    "airspeed": Variable("m/s", "true airspeed"),
    "density": Variable("kg/m3", "air density"),
    "mach": Variable("1", "Mach number of the free stream"),
    "reference_dynamic_pressure": Variable("Pa", "dynamic pressure of the free stream"),
    "reference_area": Variable("m2", "reference area"),
    "reference_chord": Variable("m", "reference chord"),
    "span": Variable("m", "wing span"),
    "CL": Variable("1", "lift coefficient of the blown wing"),
    "CL_unblown": Variable("1", "lift coefficient of the same wing without slipstreams"),
    "CL_superposed": Variable("1", "lift coefficient if slipstream velocities were merely added"),
    "CL_from_thrust": Variable("1", "vertical part of the propeller forces over q S"),
    "CD_induced": Variable("1", "induced drag coefficient, near field"),
    "CD_induced_unblown": Variable("1", "induced drag coefficient without slipstreams, near field"),
    "CD_induced_farfield": Variable("1", "induced drag coefficient, Trefftz plane"),
    "CD_induced_farfield_unblown": Variable(
        "1", "induced drag coefficient without slipstreams, Trefftz plane"
    ),
    "induced_drag_discrepancy": Variable(
        "1", "difference of near- and far-field induced drag over the far-field value, unblown"
    ),
    "edge_drift": Variable(
        "1", "largest distance of a slipstream at the wing from its tube, over the radius"
    ),
    "span_efficiency_unblown": Variable("1", "span efficiency without slipstreams, Trefftz plane"),
    "CD_profile": Variable("1", "profile drag coefficient"),
    "CD": Variable("1", "drag coefficient of the wing, slipstream effects included"),
    "CY": Variable("1", "side force coefficient"),
    "C_roll": Variable("1", "rolling moment coefficient over q S b"),
    "C_pitch": Variable("1", "pitching moment coefficient over q S c_ref, nose up positive"),
    "C_pitch_unblown": Variable("1", "pitching moment coefficient without slipstreams"),
    "C_yaw": Variable("1", "yawing moment coefficient over q S b"),
    "lift": Variable("N", "lift of the wing", required=True),
    "lift_unblown": Variable("N", "lift of the same wing without slipstreams"),
    "drag": Variable("N", "drag of the wing, slipstream effects included", required=True),
    "side_force": Variable("N", "side force of the wing"),
    "thrust": Variable("N", "sum of the axial forces of all propellers", required=True),
    "net_axial_force": Variable("N", "thrust along the flight path less wing drag"),
    "power": Variable("W", "sum of the shaft powers of all propellers", required=True),
    "half_lift": Variable("N", "lift of the half model, of the two that make the whole"),
    "half_drag": Variable("N", "wing drag of the half model"),
    "half_thrust": Variable("N", "thrust of the half model's propellers"),
    "half_net_axial_force": Variable("N", "net axial force of the half model"),
    "half_power": Variable("W", "shaft power of the half model's propellers"),
    "stall_smoothing": Variable("1", "chords over which stalled strips were coupled, 0 if none"),
    "efficiency": Variable("1", "work of the propellers along the flight path over shaft power"),
    **BALANCED,
}

STRIPS = {
    "y": _over("y", "m", "spanwise position of the strip's middle", required=True, fixed=True),
    "x": _over("y", "m", "quarter-chord point, aft", fixed=True),
    "z": _over("y", "m", "quarter-chord point, up", fixed=True),
    "chord": _over("y", "m", "local chord", required=True, fixed=True),
    "width": _over("y", "m", "strip width along the span", required=True, fixed=True),
    "circulation": _over("y", "m2/s", "circulation", required=True),
    "circulation_unblown": _over("y", "m2/s", "circulation without slipstreams"),
    "cl": _over("y", "1", "section lift coefficient over free-stream dynamic pressure"),
    "cl_unblown": _over("y", "1", "section lift coefficient without slipstreams"),
    "cl_superposed": _over("y", "1", "section lift coefficient with slipstreams merely added"),
    "cl_local_q": _over("y", "1", "section lift coefficient over local dynamic pressure"),
    "cd_induced": _over("y", "1", "section induced drag coefficient"),
    "cd_profile": _over("y", "1", "section profile drag coefficient"),
    "alpha_effective": _over("y", "deg", "effective angle of attack of the section"),
    "stall_margin": _over(
        "y", "deg", "incidence of the section's largest cl less the effective one"
    ),
    "cl_limit": _over(
        "y", "1", "largest cl of the section in the strip's stream over free-stream q"
    ),
    "speed_ratio": _over("y", "1", "local onset speed over airspeed"),
    "immersion": _over("y", "1", "height of the slipstream axis above the strip over its radius"),
    "blown_lift_share": _over(
        "y", "1", "lift gained over the gain at full slipstream dynamic pressure, 0 outside"
    ),
    "slipstream_axial": _over("y", "m/s", "axial slipstream velocity at the quarter chord"),
    "slipstream_swirl": _over("y", "m/s", "upward slipstream velocity at the quarter chord"),
    "downwash": _over("y", "m/s", "wing-induced downwash at the quarter chord, down positive"),
}

PROPELLER = {
    "r": _over("r", "m", "radius of the annulus middle", fixed=True),
    "thrust": Variable("N", "thrust, along the disc axis", required=True),
    "torque": Variable("N m", "shaft torque"),
    "power": Variable("W", "shaft power", required=True),
    "efficiency": Variable("1", "work of its force along the flight path over shaft power"),
    "CT": Variable("1", "thrust coefficient T/(rho n2 D4)"),
    "CQ": Variable("1", "torque coefficient Q/(rho n2 D5)"),
    "CP": Variable("1", "power coefficient P/(rho n3 D5)"),
    "J": Variable("1", "advance ratio V/(n D)"),
    "rpm": Variable("1/min", "rotational speed"),
    "pitch": Variable("deg", "pitch added to the blade's twist"),
    "diameter": Variable("m", "diameter", per_alpha=False),
    "rotation": Variable("1", "spin seen from behind: 1 clockwise, -1 counterclockwise"),
    "tip_mach": Variable("1", "helical tip Mach number"),
    "inflow": Variable("m/s", "mean onset velocity along the disc axis"),
    "crossflow": Variable("m/s", "mean onset velocity in the disc plane"),
    "inflow_angle": Variable("deg", "angle of the onset flow to the disc axis"),
    "normal_force": Variable("N", "in-plane force, up positive"),
    "side_force": Variable("N", "in-plane force, starboard positive"),
    "pitching_moment": Variable("N m", "hub pitching moment, nose up positive"),
    "yawing_moment": Variable("N m", "hub yawing moment, nose to starboard positive"),
    "beyond_table": Variable(
        "1", "rotor speed or Reynolds number over the nearest in the propeller's table, 1 inside it"
    ),
    "general_section": Variable(
        "1", "1 where a section is a constructed table, not the blade's own", per_alpha=False
    ),
    "axial_induced": _over("r", "m/s", "axial induced velocity at the disc"),
    "tangential_induced": _over("r", "m/s", "tangential induced velocity at the disc"),
    "alpha": _over("r", "deg", "angle of attack of the blade element"),
    "cl": _over("r", "1", "lift coefficient of the blade element"),
    "cd": _over("r", "1", "drag coefficient of the blade element"),
    "reynolds": _over("r", "1", "Reynolds number of the blade element"),
    "mach": _over("r", "1", "Mach number of the blade element"),
    "dT_dr": _over("r", "N/m", "thrust per radius, all blades"),
    "dQ_dr": _over("r", "N m/m", "torque per radius, all blades"),
    "azimuth": _over(
        "azimuth",
        "deg",
        "azimuth of a blade from the top, in the direction of rotation",
        fixed=True,
    ),
    "blade_thrust": _over("azimuth", "N", "thrust of one blade, quasi-steady"),
    "blade_torque": _over("azimuth", "N m", "torque of one blade, quasi-steady"),
    "blade_flap_moment": _over(
        "azimuth", "N m", "moment of one blade's thrust about the hub, tip forward, quasi-steady"
    ),
}

SLIPSTREAM = {
    "x": _over("x", "m", "distance behind the disc", required=True, fixed=True),
    "radius": _over("x", "m", "slipstream radius", required=True),
    "speed_ratio": _over("x", "1", "mean axial speed in the slipstream over airspeed"),
    "axial_velocity": _over("x", "m/s", "mean axial speed in the slipstream"),
    "swirl_angle": _over("x", "deg", "mean swirl angle in the slipstream"),
    "immersion": _over("x", "1", "height of the slipstream axis above the wing over its radius"),
    "y": _over("x", "m", "slipstream axis, starboard"),
    "z": _over("x", "m", "slipstream axis, up"),
    "span_from": Variable("m", "port end of the wing's span that it covers"),
    "span_to": Variable("m", "starboard end of that span; equal to the other where it misses"),
}

SURFACE = {
    name: _over("s", row.units, row.long_name, fixed=not row.per_alpha)
    for name, row in STRIPS.items()
} | {
    "s": _over("s", "m", "place of the strip's middle along the surface's span", fixed=True),
    "CL": Variable("1", "lift of the surface over q S of the wing"),
    "CD_induced": Variable("1", "induced drag of the surface over q S of the wing"),
    "CD_profile": Variable("1", "profile drag of the surface over q S of the wing"),
    "CY": Variable("1", "side force of the surface over q S of the wing"),
    "C_roll": Variable("1", "rolling moment of the surface over q S b of the wing"),
    "C_pitch": Variable("1", "pitching moment of the surface over q S c_ref of the wing"),
    "C_yaw": Variable("1", "yawing moment of the surface over q S b of the wing"),
    "CL_unblown": Variable("1", "lift of the surface without slipstreams over q S of the wing"),
    "C_pitch_unblown": Variable(
        "1", "pitching moment without slipstreams over q S c_ref of the wing"
    ),
    "lift": Variable("N", "lift of the surface", required=True),
    "drag": Variable("N", "drag of the surface, profile drag included", required=True),
    "side_force": Variable("N", "side force of the surface"),
    "downwash_angle": Variable("deg", "mean downwash at the surface by the vortices of the others"),
    "stream_rise": Variable("m", "rise of wakes and slipstreams that was taken at the surface"),
    "local_rise": Variable("m", "the same by the local course of the flow behind the wing"),
    "height_band": Variable("m", "how much higher or lower streams are taken for a trim's band"),
    "cl_least": Variable("1", "section cl on local q that a tenth of the area goes below"),
    "cl_most": Variable("1", "section cl on local q that a tenth of the area exceeds"),
    "stall_way_least": Variable(
        "1", "way to the sections' stall, -1 at their least cl, that a tenth of the area goes below"
    ),
    "stall_way_most": Variable(
        "1", "way to the sections' stall, 1 at their largest cl, that a tenth of the area exceeds"
    ),
    "pressure_ratio": Variable("1", "mean local dynamic pressure over that of the free stream"),
}

BALANCE = {
    "value": Variable("1", "what the trim found; deg of an angle, a factor of a drive, m/s2"),
    "least": Variable("1", "lower limit of the same"),
    "most": Variable("1", "upper limit of the same"),
    "band_least": Variable("1", "least value with the streams at the tail higher or lower"),
    "band_most": Variable("1", "largest value with the streams at the tail higher or lower"),
}

DERIVATIVE = {
    "CL": Variable("1", "of the lift coefficient of the whole aircraft, per rad or unit rate"),
    "CD": Variable("1", "of its drag coefficient, thrust counted"),
    "CY": Variable("1", "of its side force coefficient"),
    "C_roll": Variable("1", "of its rolling moment coefficient"),
    "C_pitch": Variable("1", "of its pitching moment coefficient, about the centre of gravity"),
    "C_yaw": Variable("1", "of its yawing moment coefficient, about the centre of gravity"),
}

CONVERGENCE = {
    "iteration": _over("iteration", "1", "iteration number", required=True),
    "residual": _over("iteration", "1", "relative change of the coupled unknowns", required=True),
    "CL": _over("iteration", "1", "lift coefficient"),
    "lift": _over(
        "iteration", "N", "sum of rho V Gamma over the bound vortices, a monitor, not the lift"
    ),
    "thrust": _over("iteration", "N", "sum of the propeller thrusts"),
}

PROFILE = {
    "y": _over("y", "m", "spanwise position on the quarter-chord line", required=True, fixed=True),
    "axial": _over("y", "m/s", "axial slipstream velocity, not averaged over strips"),
    "swirl": _over("y", "m/s", "upward slipstream velocity, not averaged over strips"),
}

PEAK = {
    "alpha": Variable("deg", "angle of attack of the largest lift", required=True),
    "CL": Variable("1", "largest lift coefficient of the wing", required=True),
    "CL_from_thrust": Variable("1", "vertical part of the propeller forces over q S there"),
    "stall_alpha": Variable("deg", "angle of attack at which the first strip reaches its peak"),
    "stall_y": Variable("m", "spanwise position of that strip"),
    "stall_fraction": Variable("1", "its distance from the plane of symmetry over the semi-span"),
    "scan_alpha": _over("scan_alpha", "deg", "angles of attack that were solved", required=True),
    "scan_CL": _over("scan_alpha", "1", "lift coefficient of the wing at them"),
    "weight": Variable("N", "weight that the stall speed carries"),
    "stall_speed": Variable("m/s", "speed at which the largest lift, thrust included, is it"),
}

OF_ITS_TOTAL = "of the total"  # stands for the units of the total with the group's name
BAND = {
    "coarse": Variable(OF_ITS_TOTAL, "value on the coarse lattice", required=True),
    "middle": Variable(OF_ITS_TOTAL, "value on the case's own lattice", required=True),
    "fine": Variable(OF_ITS_TOTAL, "value on the fine lattice", required=True),
    "band": Variable(OF_ITS_TOTAL, "half width of the band round the own value", required=True),
    "order": Variable("1", "observed order of convergence"),
    "extrapolated": Variable(OF_ITS_TOTAL, "value for vanishing panels"),
}

VARIABLES: dict[str, dict[str, Variable]] = {
    "totals": TOTALS,
    "strips": STRIPS,
    "propellers": PROPELLER,
    "slipstreams": SLIPSTREAM,
    "surfaces": SURFACE,
    "balance": BALANCE,
    "derivatives": DERIVATIVE,
    "convergence": CONVERGENCE,
    "profile": PROFILE,
    "peaks": PEAK,
    "bands": BAND,
}
PURPOSES = {
    "totals": "the whole wing",
    "strips": "along the span",
    "propellers": "each propeller",
    "slipstreams": "each slipstream",
    "surfaces": "each surface, where the wing is not alone",
    "balance": "what a trim sought",
    "derivatives": "of the whole aircraft, beside a trim",
    "convergence": "how the fixed point was reached",
    "profile": "slipstreams on a fine grid",
    "peaks": "largest lift, where it was searched",
    "bands": "numerical bands of totals, where they were asked for",
}
PLAIN = ("totals", "strips", "profile")  # kinds of one group each
NAMED = tuple(kind for kind in VARIABLES if kind not in (*PLAIN, "convergence"))
OF_ONE_ANGLE = ("peaks", "bands")  # kinds that a polar does not have
