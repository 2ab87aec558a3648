"""A blade's section found from its geometry and some measured points of thrust and power.

Most blades are known by chord and twist only; the section, at chord Reynolds numbers where its lift
depends on a laminar bubble, decides the rest. A few numbers stand for it: shift of the zero-lift
angle, drag and peak, the drag of separated flow, and what a low Reynolds number does to the lift.
They are fitted by least squares with a prior for each, so that few points move only what they
know about, and judged by points that were left out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from blownwing.airfoil.packed import coefficients
from blownwing.airfoil.section import SectionTable, table_from_rows
from blownwing.errors import InputError, SolveError
from blownwing.kernels import blade as kernel
from blownwing.propeller.blade import Blade
from blownwing.propeller.performance import PerformanceTable
from blownwing.propeller.rotor import (
    ANGLE_TOLERANCE,
    AirState,
    Rotor,
    axial_inflow,
    build_rotor,
    integrated_loads,
)

Array = NDArray[np.float64]

REFERENCE = 6e4  # Reynolds number of the parameters' values
TREND_ENDS = (1.5e4, 1.5e5)  # beyond, the trends with Reynolds number are held
LEVELS = np.geomspace(1.5e4, 3e5, 9)  # close enough for the knee, which moves with them
KNEE_WIDTH = 1.0  # deg
KNEE_TREND = 2.0  # deg by which the knee falls per factor e of Reynolds number
NOISE = 0.02  # of the largest measured value: model and measurement together
POINTS = 6  # fewer say nothing about so many numbers
FOLDS = 5
ANNULI = 20
CONTRADICTION = 0.05  # mean error, of the largest value, that no section repairs
_SEPARATED = 0.3  # cl lost to the attached line before it counts as separation
_AT_END = 0.02  # of a parameter's range
_FAR_SHIFT = 4.0  # deg of zero-lift angle, beyond which it is more than a usual section's
_UNUSUAL = 2.0  # of shift, drag and peak together, in deviations of their priors
_ORIGIN, _STEP, _PASSES, _CLOSE = 10.0, 1e-3, 60, 1e-5  # of the search
_RANGE = (-14.0, 20.0)  # deg of a section's data


@dataclass(frozen=True)
class Parameter:
    """One number of the section: its words, prior (mean, deviation) and bounds."""

    words: str
    unit: str
    mean: float
    deviation: float
    low: float
    high: float


# The first three are our judgement of what sections differ by. The last four follow by a rule from
# four propellers of the UIUC database (Brandt & Selig 2011, AIAA 2011-1255), each fitted to all its
# points with wide priors: mean, and deviation of the next propeller's value, √((σ² + Σ(x − m)²)/n ·
# (1 + 1/n)) with a judgement σ that counts as one propeller (normal values of unknown variance with
# a conjugate prior, Gelman and others 2013, "Bayesian Data Analysis", 3rd ed., section 3.3). The
# same rule on any three of them is tested on the fourth (tests/propeller).
PARAMETERS: dict[str, Parameter] = {
    "shift": Parameter("zero-lift angle lowered by", "deg", 0.0, 2.5, -5.0, 8.0),
    "drag": Parameter("drag factor, natural logarithm", "1", 0.0, 0.3, -1.0, 1.1),
    "peak": Parameter("peak lift factor, natural logarithm", "1", 0.0, 0.2, -0.5, 0.5),
    "separated": Parameter("drag per lift lost, over sin alpha", "1", 1.0, 1.1, 0.0, 4.0),
    "trend": Parameter("zero-lift angle lowered per factor e of Re", "deg", 1.5, 0.6, 0.0, 3.0),
    "knee": Parameter("lift lost below the knee", "1", 0.08, 0.12, -0.1, 0.4),
    "knee_place": Parameter("knee above zero lift", "deg", 6.0, 1.7, 2.0, 10.0),
}
Values = Mapping[str, float]


@dataclass(frozen=True)
class Measured:
    """Measured points: arrays (n,) of rotor speed (1/min), J, CT, CP, added blade angle (deg)."""

    rpm: Array
    advance: Array
    thrust: Array
    power: Array
    pitch: Array

    def __len__(self) -> int:
        return len(self.rpm)

    @property
    def scale(self) -> Array:
        """(2,) largest |CT| and |CP|, of which errors are parts."""
        return np.array([np.max(np.abs(self.thrust)), np.max(np.abs(self.power))])

    def part(self, pick: NDArray[np.bool_]) -> Measured:
        """Some of the points."""
        return Measured(*(values[pick] for values in vars(self).values()))


@dataclass(frozen=True)
class Fit:
    """A fitted section and how good it is.

    Attributes:
        values, deviations: of each parameter, the latter from data and prior together.
        used, held: points that were fitted and points held back (perhaps none).
        computed, computed_held: (n, 2) CT and CP of the fitted blade at them.
        before, before_held: the same of the blade as it was.
        left_out: (n, 2) CT and CP at each used point by a fit to the others.
        scale: (2,) largest CT and CP, of which errors are parts.
        blade: the blade with its fitted sections.
        remarks: what contradicts, in sentences; empty if nothing does.
    """

    values: dict[str, float]
    deviations: dict[str, float]
    used: Measured
    held: Measured
    computed: Array
    computed_held: Array
    before: Array
    before_held: Array
    left_out: Array
    scale: Array
    blade: Blade
    remarks: tuple[str, ...]

    def mean_error(self, computed: Array, points: Measured) -> Array:
        """(2,) mean |error| of CT and CP, of the largest measured value."""
        return mean_error(computed, points, self.scale)


def mean_error(computed: Array, points: Measured, scale: Array) -> Array:
    """(2,) mean |error| of CT and CP in parts of `scale` (2,).

    computed: (n, 2) CT and CP at the n points.
    """
    return np.asarray(np.abs(computed - _columns(points)).mean(axis=0) / scale)


def measured_points(table: PerformanceTable, blade: Blade) -> Measured:
    """The points of a table, as a blade's fit takes them.

    Blade angles of the table are those at three quarters of the radius; what they add to the
    blade's own twist there is its pitch.

    Raises:
        InputError: a table without rotor speeds, which Reynolds numbers need.
    """
    if table.by != "rpm":
        raise InputError(
            f"{table.name}: found no column rpm; a fit needs it, since sections depend on the "
            "Reynolds number"
        )
    own = math.degrees(float(np.interp(0.75, blade.radius, blade.twist)))
    angles = [angle - own for angle in table.pitches] if table.pitches else [0.0]
    rows = [
        (curve.level, j, values[0], values[1], angle)
        for angle, family in zip(angles, table.families, strict=True)
        for curve in family
        for j, values in zip(curve.advance, curve.values, strict=True)
    ]
    return Measured(*np.array(rows).T)


def adjusted(table: SectionTable, values: Values) -> SectionTable:
    """A section with other numbers.

    Lift and drag are stretched about zero lift by the peak's factor (slope and drag over relative
    lift stay), shifted, and the drag's attached part multiplied. Below a knee some lift is lost;
    what lift is missing beyond the peak costs drag. Values of 0 (and any knee_place) change nothing
    but the range of the data.

    Args:
        table: the section as it was.
        values: of `PARAMETERS`.

    Raises:
        InputError: a section without an incidence of no lift.
    """
    own = table.reynolds[(table.reynolds < LEVELS[0]) | (table.reynolds > LEVELS[-1])]
    levels = np.sort(np.concatenate((own, LEVELS)))
    rows = [_adjusted_row(table, values, float(level)) for level in levels]
    source = f"fitted to measured thrust and power, starting from: {table.source}"
    return table_from_rows(table.name, source, levels, rows)


def _adjusted_row(table: SectionTable, values: Values, reynolds: float) -> tuple[Array, Array]:
    alpha, cl, cd, cm = _level(table, reynolds)
    zero = zero_lift(alpha, cl)
    growth = math.log(min(max(reynolds, TREND_ENDS[0]), TREND_ENDS[1]) / REFERENCE)
    peak = math.exp(values["peak"])
    factor = math.exp(values["drag"]) - 1.0
    lower = math.radians(values["shift"] + values["trend"] * growth)
    at = zero + peak * (alpha - zero) - lower
    drag = cd + factor * np.minimum(cd, 3.0 * float(cd.min()))
    above = np.degrees(at - (zero - lower))
    knee = values["knee_place"] - KNEE_TREND * growth
    lost = 0.5 * values["knee"] * (1.0 - np.tanh((above - knee) / KNEE_WIDTH))
    lift = peak * cl - lost * np.exp(-np.maximum(-above, 0.0) / 3.0)
    line = 2.0 * math.pi * (at - (zero - lower))
    missing = np.where(line > 0.0, line - np.maximum(lift, 0.0), 0.0)
    drag += values["separated"] * np.maximum(missing - _SEPARATED, 0.0) * np.abs(np.sin(at))
    keep = (at >= math.radians(_RANGE[0])) & (at <= math.radians(_RANGE[1]))
    return at[keep], np.array([lift[keep], drag[keep], cm[keep]])


def _level(table: SectionTable, reynolds: float) -> tuple[Array, Array, Array, Array]:
    """Incidence, cl, cd and cm of a table at a Reynolds number over the range of a section's data.

    A little more than `_RANGE` is taken, for the shift.
    """
    low, high = math.radians(_RANGE[0] - 10.0), math.radians(_RANGE[1] + 10.0)
    alpha = table.alpha[(table.alpha >= low) & (table.alpha <= high)]
    return (alpha, *coefficients(table, alpha, reynolds))


def zero_lift(alpha: Array, cl: Array) -> float:
    """Incidence (rad) of no lift nearest to 0.

    alpha: (n,) rad, increasing. cl: (n,).

    Raises:
        InputError: a section without one.
    """
    rising = np.flatnonzero((cl[:-1] <= 0.0) & (cl[1:] > 0.0))
    if not rising.size:
        raise InputError("section: found no incidence of zero lift; a fit needs one")
    k = int(rising[np.argmin(np.abs(alpha[rising]))])
    return float(alpha[k] - cl[k] * (alpha[k + 1] - alpha[k]) / (cl[k + 1] - cl[k]))


def fitted_blade(blade: Blade, values: Values) -> Blade:
    """The blade with all its sections adjusted; values and errors as for `adjusted`."""
    return replace(blade, tables={key: adjusted(t, values) for key, t in blade.tables.items()})


def fitted_section(
    blade: Blade,
    diameter: float,
    blades: int,
    air: AirState,
    points: Measured,
    rpm: float | None = None,
) -> Fit:
    """Fit a blade's sections to measured points.

    Args:
        blade: geometry, with sections to start from. diameter: m. blades: number.
        air: that the measurement was made in.
        points: measured.
        rpm: 1/min; points of the run nearest to it are used and the others held back. None uses
            all.

    Raises:
        InputError: too few points, a blade without zero lift.
        SolveError: the fit did not converge.

    Source: Gauss's method with priors, as in Tarantola (2005), "Inverse Problem Theory", chapter 3.
    """
    pick = np.ones(len(points), dtype=np.bool_)
    if rpm is not None:
        levels = np.unique(points.rpm)
        pick = points.rpm == levels[int(np.argmin(np.abs(np.log(levels / rpm))))]
    used, held = points.part(pick), points.part(~pick)
    if len(used) < POINTS:
        raise InputError(
            f"fit: found {len(used)} measured points to fit; accepted are {POINTS} or more"
        )
    model = _Model(blade, diameter, blades, air, points.scale)
    values, deviations = model.fitted(used)
    left_out = np.empty((len(used), 2))
    order = np.argsort(used.advance, kind="stable")
    folds = min(FOLDS, len(used))
    for fold in range(folds):
        out = np.zeros(len(used), dtype=np.bool_)
        out[order[fold::folds]] = True
        without, _ = model.fitted(used.part(~out), values)
        left_out[out] = model.computed(without, used.part(out))
    computed = model.computed(values, used)
    result = Fit(
        values=values,
        deviations=deviations,
        used=used,
        held=held,
        computed=computed,
        computed_held=model.computed(values, held),
        before=model.unfitted(used),
        before_held=model.unfitted(held),
        left_out=left_out,
        scale=points.scale,
        blade=fitted_blade(blade, values),
        remarks=(),
    )
    return replace(result, remarks=_remarks(result, model))


class _Model:
    """CT and CP of a blade with adjusted sections at measured points."""

    def __init__(
        self, blade: Blade, diameter: float, blades: int, air: AirState, scale: Array
    ) -> None:
        self.blade, self.diameter, self.blades, self.air = blade, diameter, blades, air
        self.scale = scale
        self.parameters = _priors(blade)

    def fitted(
        self, points: Measured, start: Values | None = None
    ) -> tuple[dict[str, float], dict[str, float]]:
        """Values and their deviations."""
        from scipy.optimize import least_squares

        items = self.parameters
        mean = np.array([p.mean for p in items.values()])
        spread = np.array([p.deviation for p in items.values()])
        # in deviations from the prior, off zero so that a relative step is a sensible one
        ends = [np.array([getattr(p, end) for p in items.values()]) for end in ("low", "high")]
        low, high = (_ORIGIN + (end - mean) / spread for end in ends)
        measured = _columns(points)

        def named(z: Array) -> dict[str, float]:
            return dict(zip(items, (mean + spread * (z - _ORIGIN)).tolist(), strict=True))

        def residuals(z: Array) -> Array:
            error = (self.computed(named(z), points) - measured) / (NOISE * self.scale)
            return np.concatenate((error.ravel(), z - _ORIGIN))

        first = mean if start is None else np.array([start[name] for name in items])
        inside = _ORIGIN + (first - mean) / spread
        inside = np.clip(inside, low + 1e-3 * (high - low), high - 1e-3 * (high - low))
        found = least_squares(
            residuals, inside, bounds=(low, high), diff_step=_STEP, max_nfev=_PASSES,
            ftol=_CLOSE, xtol=_CLOSE, gtol=_CLOSE,
        )  # fmt: skip
        if not (np.all(np.isfinite(found.x)) and math.isfinite(found.cost)):
            raise SolveError("the fit of the section gave values that are not finite")
        # the prior's own rows make the matrix regular
        deviations = spread * np.sqrt(np.diag(np.linalg.inv(found.jac.T @ found.jac)))
        return named(found.x), dict(zip(items, deviations.tolist(), strict=True))

    def computed(self, values: Values, points: Measured) -> Array:
        """(n, 2) CT and CP with adjusted sections."""
        return self._coefficients(fitted_blade(self.blade, values), points)

    def unfitted(self, points: Measured) -> Array:
        """(n, 2) CT and CP of the blade as it was."""
        return self._coefficients(self.blade, points)

    def without_drag(self, values: Values, points: Measured) -> Array:
        """(n, 2) CT and CP with adjusted sections that have next to no drag."""
        blade = fitted_blade(self.blade, values)
        tables = {key: replace(t, cd=np.full_like(t.cd, 1e-9)) for key, t in blade.tables.items()}
        return self._coefficients(replace(blade, tables=tables), points)

    def _coefficients(self, blade: Blade, points: Measured) -> Array:
        rotor = build_rotor(blade, self.diameter, self.blades, ANNULI)
        rows = zip(points.rpm, points.advance, points.pitch, strict=True)
        values = [self._point(rotor, *map(float, row)) for row in rows]
        return np.array(values).reshape(-1, 2)

    def _point(self, rotor: Rotor, rpm: float, advance: float, pitch: float) -> tuple[float, float]:
        turns = rpm / 60.0
        unit = self.air.density * turns**2 * rotor.diameter**4
        inflow = axial_inflow(rotor, advance * turns * rotor.diameter).copy()
        sums, _ = integrated_loads(
            rotor, self.air, 2.0 * math.pi * turns, math.radians(pitch), 1.0, inflow,
            ANGLE_TOLERANCE,
        )  # fmt: skip
        torque = float(sums[kernel.SUM_TORQUE])
        return (
            float(sums[kernel.SUM_THRUST]) / unit,
            2.0 * math.pi * torque / (unit * rotor.diameter),
        )


def _columns(points: Measured) -> Array:
    return np.column_stack((points.thrust, points.power))


def _priors(blade: Blade) -> dict[str, Parameter]:
    """Priors for a blade: a section that knows its Reynolds numbers needs no trend added."""
    result = dict(PARAMETERS)
    for table in blade.tables.values():
        zeros = []
        for level in (3e4, 6e4, 1e5):
            alpha, cl, _, _ = _level(table, level)
            zeros.append(math.degrees(zero_lift(alpha, cl)))
        if max(zeros) - min(zeros) > 0.05:
            for name in ("trend", "knee"):
                result[name] = replace(result[name], mean=0.0, low=-result[name].high)
    return result


def _remarks(fit: Fit, model: _Model) -> tuple[str, ...]:
    """Where geometry and measurement contradict each other."""
    remarks: list[str] = []
    for k, (name, error) in enumerate(
        zip(("CT", "CP"), fit.mean_error(fit.computed, fit.used), strict=True)
    ):
        if error > CONTRADICTION:
            delta = (fit.computed - _columns(fit.used))[:, k].mean() / fit.scale[k]
            side = "high" if delta > 0.0 else "low"
            remarks.append(
                f"{name} of the fitted blade is {error:.1%} of its largest value off in the mean "
                f"({delta:+.1%}, too {side}): no section within bounds makes this geometry give "
                "these points; chord, twist, diameter, blade count or points are of another "
                "propeller"
            )
    for name in ("shift", "drag", "peak"):
        parameter = model.parameters[name]
        span = parameter.high - parameter.low
        value = fit.values[name]
        if min(value - parameter.low, parameter.high - value) < _AT_END * span:
            remarks.append(
                f"{parameter.words} ends at {value:.3g} {parameter.unit}, the bound of what a "
                "section may have: the blade angles, or the line they are measured to, are in doubt"
            )
    if abs(fit.values["shift"]) > _FAR_SHIFT:
        remarks.append(
            f"the zero-lift angle had to move by {fit.values['shift']:.1f} deg: a very cambered "
            "section, or blade angles measured to another line than the chord"
        )
    together = math.hypot(
        *(fit.values[name] / model.parameters[name].deviation for name in ("shift", "drag", "peak"))
    )
    if together > _UNUSUAL:
        remarks.append(
            f"zero-lift angle, drag and peak lie {together:.1f} deviations from a usual section's: "
            "fitted well or not, such a section hides errors of chord, twist or points"
        )
    remarks += _too_efficient(fit, model)
    return tuple(remarks)


def _too_efficient(fit: Fit, model: _Model) -> Sequence[str]:
    """Whether a point needs less power than these blades need without any drag."""
    driving = (fit.used.thrust > 0.3 * fit.scale[0]) & (fit.used.power > 0.0)
    points = fit.used.part(driving)
    if not len(points):
        return []
    bare = model.without_drag(fit.values, points)
    # at the same thrust: power of the dragless blade, moved along its own CP over CT
    least = bare[:, 1] * np.where(bare[:, 0] > 0.0, points.thrust / bare[:, 0], 1.0)
    short = points.power / least
    k = int(np.argmin(short))
    if short[k] >= 1.0:
        return []
    return [
        f"at J = {points.advance[k]:.3g} the measured power is {1.0 - short[k]:.1%} less than "
        "these blades would need at that thrust without any drag: geometry and data contradict"
    ]
