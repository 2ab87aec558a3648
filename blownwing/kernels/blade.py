"""Blade elements and momentum: one bracketed root per element, all loads of a rotor in one call.

With V the undisturbed velocity relative to the element (axial Vx, tangential Vy, angle φ₀ to the
disc plane), W the actual one at φ = φ₀ + δ, and m the flow speed that carries the momentum, blade
forces equal the momentum change of the annulus when

    σ W² cn = 4 F m u,   σ W² ct = 4 F m v,   W sin φ = Vx + u,   W cos φ = Vy − v.

Resolving along and across W leaves one equation, with μ = m / W:

    f(δ) = sin δ (4 F μ + σ cd) − σ cl cos δ = 0,   W = 4 F μ V cos δ / (4 F μ + σ cd).

f(0) = −σ cl and f(±π/2) = ±(4 F μ + σ cd), so the quarter turn on the side of the lift always
holds a root: hover, climb, windmilling, descent and reversed flow alike, and V = 0 axially is an
ordinary point. The idea of a single unknown angle in a guaranteed bracket is that of Ning (2014),
"A simple solution method for the blade element momentum equations with guaranteed convergence",
Wind Energy 17, 1327-1345; this form works with velocities instead of induction factors.
"""

from __future__ import annotations

import math

import numpy as np

from blownwing.kernels.jit import inline, parallel, serial

HALF_PI = 0.5 * math.pi
LOSS_FLOOR = 0.01
# Momentum theory leaves an unloaded disc in hover without any through-flow, so that the drag would
# spin the air up to the blade's own speed; mixing carries at least this share of W.
FLOW_FLOOR = 0.005
# Prandtl-Glauert stops growing here: beyond it a real section's lift slope falls again.
MACH_CAP = 0.8
CHORD_REYNOLDS_MIN = 1.0

# Columns of the radial output.
AXIAL, SWIRL, INCIDENCE, LIFT, DRAG, THRUST, TORQUE, ANGLE, REYNOLDS, MACH, LOSS = range(11)
N_RADIAL_FIELDS = 11
# Entries of the integrated output.
SUM_THRUST, SUM_TORQUE, SUM_RIGHT, SUM_UP, SUM_MOMENT_RIGHT, SUM_MOMENT_UP, WORST, EVALS = range(8)
N_SUMS = 8


@serial
def loss_factor(sine, tip, hub):
    """Prandtl's factor in Glauert's local form and its slope by sine = |sin φ|.

    tip = B(R − r)/2r and hub = B(r − Rh)/2Rh are the exponents at sine = 1; beyond an exponent of
    22 the factor is 1 to 2e-10. Without units.
    """
    factor, slope = 1.0, 0.0
    if tip < 22.0 * sine:
        power = math.exp(-tip / sine)
        factor = math.acos(power) / HALF_PI
        slope = -power * tip / (HALF_PI * sine * sine * math.sqrt(1.0 - power * power))
    if hub < 22.0 * sine:
        power = math.exp(-hub / sine)
        other = math.acos(power) / HALF_PI
        rise = -power * hub / (HALF_PI * sine * sine * math.sqrt(1.0 - power * power))
        slope = slope * other + factor * rise
        factor *= other
    if factor < LOSS_FLOOR:
        return LOSS_FLOOR, 0.0
    return factor, slope


@inline
def prandtl_glauert(mach):
    """1/√(1 − M²), held beyond MACH_CAP.

    Source: Glauert (1928), "The effect of compressibility on the lift of an aerofoil", Proceedings
    of the Royal Society A 118, 113-119; the cap is common practice.
    """
    return 1.0 / math.sqrt(1.0 - min(mach, MACH_CAP) ** 2)


@inline
def between_levels(log_reynolds, reynolds):
    """Row below a Reynolds number and share of the next row, linear in its logarithm; ends hold.

    log_reynolds: (n_re,) natural logarithms, increasing; reynolds: of the chord.
    """
    row, share, last = 0, 0.0, log_reynolds.shape[0] - 1
    if last > 0:
        level = math.log(max(reynolds, CHORD_REYNOLDS_MIN))
        while row < last - 1 and level >= log_reynolds[row + 1]:
            row += 1
        share = (level - log_reynolds[row]) / (log_reynolds[row + 1] - log_reynolds[row])
        share = min(max(share, 0.0), 1.0)
    return row, share


@inline
def grid_cell(alpha, intervals):
    """Point of a uniform grid over the whole circle before an incidence, share of the next.

    alpha: rad; intervals: of the grid, number.
    """
    turn = alpha * (0.5 / math.pi) + 0.5
    position = (turn - math.floor(turn)) * intervals
    i = min(int(position), intervals - 1)
    return i, position - i


@inline
def mixed_cells(one, other, share):
    """Between two of `table_cell`'s results; share: of the other, 0 to 1."""
    return (
        one[0] + share * (other[0] - one[0]),
        one[1] + share * (other[1] - one[1]),
        one[2] + share * (other[2] - one[2]),
        one[3] + share * (other[3] - one[3]),
        one[4] + share * (other[4] - one[4]),
        one[5] + share * (other[5] - one[5]),
        one[6] + share * (other[6] - one[6]),
        one[7] + share * (other[7] - one[7]),
        one[8] + share * (other[8] - one[8]),
    )


@inline
def level_cell(polar, peaks, k, i, t):
    """cl and its rise over a cell, cd and its rise, cm, dcl/dα at both ends, largest, least cl.

    polar, peaks: as in `section_coefficients`; k: row; i, t: from `grid_cell`. dcl/dα per rad.
    """
    return (
        polar[k, i, 0],
        polar[k, i + 1, 0] - polar[k, i, 0],
        polar[k, i, 1],
        polar[k, i + 1, 1] - polar[k, i, 1],
        polar[k, i, 2] + t * (polar[k, i + 1, 2] - polar[k, i, 2]),
        polar[k, i, 3],
        polar[k, i + 1, 3],
        peaks[k, 0],
        peaks[k, 1],
    )


@inline
def table_cell(polar, peaks, row, weight, i, t):
    """The same between the Reynolds numbers `row` and `row + 1` of a table.

    weight: of the latter, 0 to 1; the rest as in `level_cell`.
    """
    cell = level_cell(polar, peaks, row, i, t)
    if weight > 0.0:
        cell = mixed_cells(cell, level_cell(polar, peaks, row + 1, i, t), weight)
    return cell


@inline
def cell_coefficients(cell, t, per_radian, compress):
    """cl, cd, their slopes by α and cm within a cell: lift a cubic, drag and moment straight.

    cell: of `table_cell`; t: share of the cell, 0 to 1; per_radian: cells in a radian; slopes per
    rad; compress: as in `section_coefficients`.
    """
    start, rise, drag, drag_step, moment, before, after, most, least = cell
    first, last, u = before / per_radian - rise, rise - after / per_radian, 1.0 - t
    bend = first * u + last * t
    lift = compress * (start + t * (rise + u * bend))
    slope = compress * per_radian * (rise + (u - t) * bend + t * u * (last - first))
    if lift > most:
        lift, slope = most, 0.0
    elif lift < least:
        lift, slope = least, 0.0
    return lift, drag + t * drag_step, slope, drag_step * per_radian, compress * moment


@inline
def section_coefficients(polar, peaks, row, weight, compress, alpha):
    """cl, cd, their slopes by α and cm of a section, whose lift has a continuous slope.

    `polar` (n_re, n_alpha, 4: cl, cd, cm, dcl/dα, over the whole circle) and `peaks` (n_re, 2:
    largest and least cl) are one table's; the rows `row` and `row + 1` are mixed by `weight`;
    `compress` multiplies lift, up to the peak, and moment. alpha: rad; slopes per rad.
    """
    intervals = polar.shape[1] - 1
    i, t = grid_cell(alpha, intervals)
    cell = table_cell(polar, peaks, row, weight, i, t)
    return cell_coefficients(cell, t, intervals * (0.5 / math.pi), compress)


@serial
def strip_coefficients(polars, peaks, log_reynolds, tables, share, alpha, reynolds, mach, out):
    """Fill out (4, n) with cl, cd, cm and dcl/dα of strips between two tables each.

    polars, peaks, log_reynolds: as in `rotor_loads`; tables: (2, n); share: (n,) of the second;
    alpha: rad; dcl/dα per rad; alpha, reynolds, mach: (n,).
    """
    intervals = polars.shape[2] - 1
    for j in range(out.shape[1]):
        row, weight = between_levels(log_reynolds, reynolds[j])
        i, t = grid_cell(alpha[j], intervals)
        one, other = tables[0, j], tables[1, j]
        cell = table_cell(polars[one], peaks[one], row, weight, i, t)
        if share[j] > 0.0:
            beside = table_cell(polars[other], peaks[other], row, weight, i, t)
            cell = mixed_cells(cell, beside, share[j])
        lift, drag, slope, _drag_slope, moment = cell_coefficients(
            cell, t, intervals * (0.5 / math.pi), prandtl_glauert(mach[j])
        )
        out[0, j], out[1, j], out[2, j], out[3, j] = lift, drag, moment, slope


@serial
def flow_ratio(axial, sine_signed, load, factor):
    """μ = m/W, the flow that carries the momentum over the resultant speed.

    Normally |sin φ|. Where the thrust opposes the undisturbed axial flow and retards it by more
    than 0.4, Buhl (2005), "A new empirical relationship between thrust coefficient and induction
    factor for the turbulent windmill state", NREL/TP-500-36834, takes over up to a = 1; beyond, its
    tangent, until momentum theory of the propeller-brake state asks for more.

    `load` = σ cn / 4F, `axial` is used for its sign only, that of the undisturbed axial velocity;
    `sine_signed` = sin φ, `factor` = F.
    """
    sine = abs(sine_signed)
    if load * axial < 0.0:
        size = abs(load)
        slope = 60.0 / 9.0 - 4.0 * factor  # dCT/da at a = 1
        if sine_signed * axial > 0.0:  # retarded, not reversed: a < 1
            if 3.0 * size > 2.0 * sine * sine:  # a > 0.4
                square = (slope * sine) ** 2 + 32.0 * factor * size
                square += 8.0 * (4.0 * factor - 50.0 / 9.0) * sine * sine
                # (1 − a)/sin φ, the root of Buhl's quadratic in its stable form
                rest = 4.0 / (slope * sine + math.sqrt(max(square, 0.0)))
                return max(size * rest / max(1.0 - sine * rest, 0.4), FLOW_FLOOR)
        else:  # reversed: a > 1
            excess = slope * sine + math.sqrt((slope * sine) ** 2 + 32.0 * factor * size)
            excess /= 8.0 * factor * size  # (a − 1)/sin φ
            if excess * (size - sine * sine) > sine:
                return max(size * excess / (1.0 + sine * excess), FLOW_FLOOR)
    return max(sine, FLOW_FLOOR)


@inline
def residual(
    delta, phi0, sine0, cosine0, twist, solidity, tip, hub, polar, peaks, row, weight, compress
):
    """f(δ) of the module's head and its slope, then cl, cd, 4Fμ, F, sin φ and cos φ.

    The slope is exact where momentum theory holds; in the empirical branch, where it only guides
    the steps, μ counts as constant. delta, phi0, twist: rad; sine0, cosine0: of φ₀; solidity: σ;
    tip, hub: as in `loss_factor`; polar … compress: as in `section_coefficients`.
    """
    sd = math.sin(delta)
    cd = math.sqrt(1.0 - sd * sd)  # |δ| ≤ π/2
    sine = sine0 * cd + cosine0 * sd
    cosine = cosine0 * cd - sine0 * sd
    size = abs(sine)
    factor, factor_slope = loss_factor(size, tip, hub)
    lift, drag, lift_slope, drag_slope, _moment = section_coefficients(
        polar, peaks, row, weight, compress, twist - phi0 - delta
    )
    load = 0.25 * solidity * (lift * cosine - drag * sine) / factor
    ratio = flow_ratio(sine0, sine, load, factor)
    flow = 4.0 * factor * ratio
    value = sd * (flow + solidity * drag) - solidity * lift * cd
    slope = cd * (flow + solidity * drag) + solidity * lift * sd
    slope += solidity * (lift_slope * cd - drag_slope * sd)  # dα = −dδ
    if ratio == size:
        rise = cosine if sine >= 0.0 else -cosine
        slope += 4.0 * sd * rise * (factor + size * factor_slope)
    return value, slope, lift, drag, flow, factor, sine, cosine


@inline
def solve_angle(
    phi0, sine0, cosine0, twist, solidity, tip, hub, polar, peaks, row, weight, compress, guess,
    xtol,
):  # fmt: skip
    """Root δ of f on the side of the lift, the residual's values there, and the evaluations.

    Newton steps from `guess`, or from the root of a linear lift law where the guess is not on the
    side of the lift, kept inside the bracket that the signs of f leave; bisection takes over from a
    step that leaves it or does not shrink. guess, xtol: rad; the rest as in `residual`.
    """
    lift, _drag, lift_slope, _drag_slope, _moment = section_coefficients(
        polar, peaks, row, weight, compress, twist - phi0
    )
    side = 1.0 if lift >= 0.0 else -1.0
    start = solidity * abs(lift)  # |f(0)|
    lower, upper = 0.0, HALF_PI
    linear = 4.0 * abs(sine0) + solidity * max(lift_slope, 1.0)
    x = min(2.0 * start / (linear + math.sqrt(linear * linear + 16.0 * start)), 1.5)
    if 0.0 < side * guess < HALF_PI:
        x = side * guess
    last = HALF_PI
    evaluations = 0
    while True:
        values = residual(
            side * x,
            phi0,
            sine0,
            cosine0,
            twist,
            solidity,
            tip,
            hub,
            polar,
            peaks,
            row,
            weight,
            compress,
        )
        evaluations += 1
        value, slope = side * values[0], values[1]
        if value < 0.0:
            lower = x
        else:
            upper = x
        step = -value / slope if slope > 0.0 else math.inf
        if abs(step) <= xtol or upper - lower <= xtol or evaluations == 120:
            return side * x, values, evaluations
        if abs(step) > 0.5 * last or not lower < x + step < upper:
            step = 0.5 * (lower + upper) - x
        last = abs(step)
        x += step


@inline
def element(
    axial, tangential, twist, solidity, tip, hub, polar, peaks, row, weight, compress, guess, xtol
):
    """One element: φ, sin φ, cos φ, W, u, v, cl, cd, F, scaled residual, evaluations, δ.

    Without induction (u = v = 0) if xtol ≤ 0. `guess`: a neighbour's δ, 0 if there is none. axial,
    tangential: Vx and Vy, m/s; the rest as in `solve_angle`. Angles in rad, speeds in m/s.
    """
    speed = math.sqrt(axial * axial + tangential * tangential)
    if speed == 0.0:
        return 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0, 0.0
    phi0 = math.atan2(axial, tangential)
    sine0, cosine0 = axial / speed, tangential / speed
    if not xtol > 0.0:
        lift, drag, _lift_slope, _drag_slope, _moment = section_coefficients(
            polar, peaks, row, weight, compress, twist - phi0
        )
        return phi0, sine0, cosine0, speed, 0.0, 0.0, lift, drag, 1.0, 0.0, 0, 0.0
    delta, values, evaluations = solve_angle(
        phi0, sine0, cosine0, twist, solidity, tip, hub, polar, peaks, row, weight, compress,
        guess, xtol,
    )  # fmt: skip
    value, _slope, lift, drag, flow, factor, sine, cosine = values
    total = flow + solidity * drag
    resultant = flow * speed * (cosine * cosine0 + sine * sine0) / total  # cos δ
    share = solidity * resultant / flow
    u = share * (lift * cosine - drag * sine)
    v = share * (lift * sine + drag * cosine)
    worst = abs(value) / (total + solidity * abs(lift))
    phi = phi0 + delta
    return phi, sine, cosine, resultant, u, v, lift, drag, factor, worst, evaluations, delta


@serial
def azimuth_turns(n_azimuth):
    """(2, n_azimuth) sine and cosine of n_azimuth stations of the azimuth."""
    turns, share = np.empty((2, n_azimuth)), 1.0 / n_azimuth
    for k in range(n_azimuth):
        psi = 2.0 * math.pi * (k + 0.5) * share
        turns[0, k], turns[1, k] = math.sin(psi), math.cos(psi)
    return turns


@serial
def annulus_loads(
    j, inflow, turns, geometry, stations, polars, peaks, log_reynolds, blades, omega, pitch, spin,
    density, viscosity, sound, xtol, angles, sums, radial,
):  # fmt: skip
    """Annulus `j` once round: fills `sums[j]` and `radial[:, j]`; arguments as `rotor_loads`.

    turns: from `azimuth_turns`; angles: (n_azimuth, n_r), of which column `j` holds where the
    search for each δ starts (0 where nothing is known) and receives what was found.
    """
    n_azimuth = inflow.shape[1]
    share = 1.0 / n_azimuth
    r, dr, chord = geometry[0, j], geometry[1, j], geometry[2, j]
    station = stations[j]
    solidity = blades * chord / (2.0 * math.pi * r)
    turn = 1.0 + 2.0 * math.cos(2.0 * math.pi * share)
    guess, last, second, third = 0.0, 0.0, 0.0, 0.0
    sums[j, :] = 0.0
    radial[:, j] = 0.0
    for k in range(n_azimuth):
        sine, cosine = turns[0, k], turns[1, k]
        axial = inflow[0, k, j]
        along = spin * cosine * inflow[1, k, j] - sine * inflow[2, k, j]
        tangential = omega * r - along
        speed = math.sqrt(axial * axial + tangential * tangential)
        reynolds = max(density * speed * chord / viscosity, CHORD_REYNOLDS_MIN)
        mach = speed / sound
        compress = prandtl_glauert(mach)
        row, weight = between_levels(log_reynolds, reynolds)
        phi, s, c, resultant, u, v, lift, drag, factor, worst, evaluations, delta = element(
            axial,
            tangential,
            geometry[3, j] + pitch,
            solidity,
            geometry[4, j],
            geometry[5, j],
            polars[station],
            peaks[station],
            row,
            weight,
            compress,
            guess if angles[k, j] == 0.0 else angles[k, j],
            xtol if omega > 0.0 else 0.0,
        )
        angles[k, j] = delta
        # a mean and a first harmonic through the last three predict the next azimuth's angle
        third, second, last = second, last, delta
        guess = last if k < 2 else third + turn * (last - second)
        force = 0.5 * density * resultant * resultant * chord * blades * share
        thrust = force * (lift * c - drag * s)
        drive = force * (lift * s + drag * c)
        sums[j, SUM_THRUST] += thrust * dr
        sums[j, SUM_TORQUE] += drive * r * dr
        sums[j, SUM_RIGHT] -= spin * cosine * drive * dr
        sums[j, SUM_UP] += sine * drive * dr
        sums[j, SUM_MOMENT_RIGHT] -= cosine * thrust * r * dr
        sums[j, SUM_MOMENT_UP] += spin * sine * thrust * r * dr
        sums[j, EVALS] += evaluations
        # a comparison that a NaN cannot pass unseen
        if not worst <= sums[j, WORST]:
            sums[j, WORST] = worst
        radial[AXIAL, j] += share * factor * u
        radial[SWIRL, j] += share * factor * v
        incidence = geometry[3, j] + pitch - phi
        incidence -= 2.0 * math.pi * math.floor(incidence / (2.0 * math.pi) + 0.5)
        radial[INCIDENCE, j] += share * incidence
        radial[LIFT, j] += share * lift
        radial[DRAG, j] += share * drag
        radial[THRUST, j] += thrust
        radial[TORQUE, j] += drive * r
        radial[ANGLE, j] += share * phi
        radial[REYNOLDS, j] += share * reynolds
        radial[MACH, j] += share * mach
        radial[LOSS, j] += share * factor


@serial
def total_loads(sums):
    """Totals of the annuli in the last row of sums (n_r + 1, N_SUMS): N, N m, largest residual."""
    last = sums.shape[0] - 1
    sums[last, :] = 0.0
    for j in range(last):
        for k in range(N_SUMS):
            if k != WORST:
                sums[last, k] += sums[j, k]
            elif not sums[j, k] <= sums[last, k]:
                sums[last, k] = sums[j, k]


@serial
def rotor_loads(
    inflow, geometry, stations, polars, peaks, log_reynolds, blades, omega, pitch, spin, density,
    viscosity, sound, xtol, sums, radial,
):  # fmt: skip
    """All loads of one rotor; fills `sums` (n_r + 1, N_SUMS) and `radial` (N_RADIAL_FIELDS, n_r).

    `sums` has a row for each annulus and the totals in the last one.

    inflow: (3, n_azimuth, n_r) air velocity at the elements: downstream, right, up, m/s.
    geometry: (6, n_r) r, dr, chord (m), twist (rad), tip and hub loss coefficients.
    stations: (n_r,) row of `polars` (n, n_re, n_alpha, 4) and `peaks` (n, n_re, 2).
    log_reynolds: (n_re,) natural logarithms. blades: number. pitch: added to the twist, rad.
    density: kg/m³. viscosity: Pa s. sound: its speed, m/s.
    spin: +1 clockwise seen from behind, −1 counterclockwise. omega ≥ 0, rad/s.
    xtol: tolerance on φ, rad; zero or less switches the induction off.
    """
    turns = azimuth_turns(inflow.shape[1])
    angles = np.zeros(inflow.shape[1:])
    for j in range(geometry.shape[1]):
        annulus_loads(
            j, inflow, turns, geometry, stations, polars, peaks, log_reynolds, blades, omega,
            pitch, spin, density, viscosity, sound, xtol, angles, sums, radial,
        )  # fmt: skip
    total_loads(sums)


@parallel
def rotor_annuli(
    part, parts, inflow, geometry, stations, polars, peaks, log_reynolds, blades, omega, pitch,
    spin, density, viscosity, sound, xtol, sums, radial,
):  # fmt: skip
    """The annuli of `rotor_loads` on all threads; the totals are left to `total_loads`."""
    turns = azimuth_turns(inflow.shape[1])
    angles = np.zeros(inflow.shape[1:])
    for j in range(part, geometry.shape[1], parts):
        annulus_loads(
            j, inflow, turns, geometry, stations, polars, peaks, log_reynolds, blades, omega,
            pitch, spin, density, viscosity, sound, xtol, angles, sums, radial,
        )  # fmt: skip


@serial
def rotors_loads(
    members, inflow, geometry, stations, polars, peaks, log_reynolds, blades, omega, pitch, spin,
    density, viscosity, sound, xtol, angles, sums, radial,
):  # fmt: skip
    """`rotor_loads` of several rotors of one make, and their elements' angles.

    members: indices of the rotors in the first axis of inflow (rotors, 3, n_azimuth, n_r), omega,
    pitch and spin (rotors,), angles (rotors, n_azimuth, n_r; starts and results, see
    `annulus_loads`), sums (rotors, n_r + 1, N_SUMS) and radial (rotors, N_RADIAL_FIELDS, n_r);
    the rest and the units as in `rotor_loads`.
    """
    turns = azimuth_turns(inflow.shape[2])
    for i in members:
        for j in range(geometry.shape[1]):
            annulus_loads(
                j, inflow[i], turns, geometry, stations, polars, peaks, log_reynolds, blades,
                omega[i], pitch[i], spin[i], density, viscosity, sound, xtol, angles[i], sums[i],
                radial[i],
            )  # fmt: skip
        total_loads(sums[i])


@serial
def element_column(
    i, axial, tangential, twist, solidity, tip, hub, polar, peaks, row, weight, compress, xtol, out
):
    """Element `i` of a batch; fills `out[:, i]`; arguments as in `solve_elements`."""
    phi, _s, _c, resultant, u, v, lift, drag, factor, worst, evaluations, _delta = element(
        axial[i], tangential[i], twist[i], solidity[i], tip[i], hub[i], polar, peaks, row, weight,
        compress, 0.0, xtol,
    )  # fmt: skip
    out[0, i], out[1, i], out[2, i], out[3, i] = phi, resultant, u, v
    out[4, i], out[5, i], out[6, i] = lift, drag, factor
    out[7, i], out[8, i] = worst, evaluations


@serial
def solve_elements(
    axial, tangential, twist, solidity, tip, hub, polar, peaks, row, weight, compress, xtol, out
):
    """A plain batch of unrelated elements (n,) on one table; fills `out` (9, n).

    axial … hub: (n,), units as in `element`, as for polar … xtol, which are one for all. Rows: φ,
    W, u, v, cl, cd, F, scaled residual, evaluations.
    """
    for i in range(axial.shape[0]):
        element_column(
            i, axial, tangential, twist, solidity, tip, hub, polar, peaks, row, weight, compress,
            xtol, out,
        )  # fmt: skip


@parallel
def solve_elements_parallel(
    part, parts, axial, tangential, twist, solidity, tip, hub, polar, peaks, row, weight, compress,
    xtol, out,
):  # fmt: skip
    """`solve_elements` on all threads."""
    n = axial.shape[0]
    for i in range(part * n // parts, (part + 1) * n // parts):
        element_column(
            i, axial, tangential, twist, solidity, tip, hub, polar, peaks, row, weight, compress,
            xtol, out,
        )  # fmt: skip
