"""The result of a solve: named, checked, read-only arrays with a known meaning each.

A ``Solution`` holds one incidence or, for a case whose ``flow.alpha`` is a list, a polar. Whatever
it holds is listed in :data:`blownwing.solution.variables.VARIABLES`, has the right shape and is
finite: nothing else can be constructed, saved or read.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np

from blownwing import __version__
from blownwing.errors import SolveError
from blownwing.solution.variables import NAMED, OF_ONE_ANGLE, PLAIN, VARIABLES, Variable
from blownwing.solution.views import drawn, labelled, line, markup

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Values = Mapping[str, Any]
"""Variable name to a float (scalars) or a read-only float array."""

CAUTION = (
    "Concept-level estimates, not for flight clearance: certified data, the applicable regulations "
    "and licensed engineers decide."
)
_JOINED = ("propellers", "slipstreams", "surfaces", "balance")  # kinds that a polar has
_GROUP_NAME = re.compile(r"[A-Za-z0-9_-]+")


def now() -> str:
    """Return the time in UTC to the second, ISO 8601."""
    return datetime.now(UTC).isoformat(timespec="seconds")


@dataclass(frozen=True, eq=False, repr=False)
class Solution:
    """A converged result; mappings and arrays are copied, checked and made read-only.

    Args:
        title: the case's title.
        case_toml: the whole input as text.
        totals: scalars of the aircraft; in a polar arrays over the angles of attack.
        strips: arrays over the whole span, (strips,) or (angles, strips).
        propellers: name to scalars and arrays over the radius ``r``.
        slipstreams: name to arrays over the distance ``x`` behind the disc.
        convergence: history over the iterations. Histories of a polar differ in length, so a
            polar has one mapping per angle, keyed ``alpha_00``, ``alpha_01``, ... in order.
        alphas: the angles of attack of a polar, degrees; empty for a single incidence.
        surfaces: of a case with surfaces beside the wing, name to their forces and to arrays over
            their span ``s``; ``wing`` has forces only, its arrays are ``strips``.
        balance: of a trim, unknown to value and limits.
        derivatives: beside a trim, variable to derivatives of the coefficients.
        version: version of blownwing that made the result.
        created: time of making, ISO 8601.
        profile: slipstream velocities on a fine grid along the quarter chord; may be empty.
        peaks: largest lift, "blown" and "unblown", with the scan that found it; may be empty.
        bands: numerical bands of totals by name, from three lattices; may be empty.

    Quantities that do not exist (a coefficient at zero airspeed, the pitch of an ideal disc) are
    left out; NaN never stands in for them.

    Raises:
        ValueError: an unknown or missing variable, or a wrong shape.
        SolveError: a value that is not finite.
    """

    title: str
    case_toml: str
    totals: Values
    strips: Values
    propellers: Mapping[str, Values]
    slipstreams: Mapping[str, Values]
    convergence: Mapping[str, Any]
    alphas: tuple[float, ...] = ()
    surfaces: Mapping[str, Values] = field(default_factory=dict)
    balance: Mapping[str, Values] = field(default_factory=dict)
    derivatives: Mapping[str, Values] = field(default_factory=dict)
    version: str = __version__
    created: str = field(default_factory=now)
    profile: Values = field(default_factory=dict)
    peaks: Mapping[str, Values] = field(default_factory=dict)
    bands: Mapping[str, Values] = field(default_factory=dict)

    def __post_init__(self) -> None:
        def put(name: str, value: Any) -> None:
            object.__setattr__(self, name, value)

        put("alphas", tuple(float(a) for a in self.alphas))
        count = len(self.alphas)
        put("totals", _checked("totals", "totals", self.totals, count))
        put("strips", _checked("strips", "strips", self.strips, count))
        fine = _checked("profile", "profile", self.profile, count) if self.profile else {}
        put("profile", MappingProxyType(dict(fine)))
        strays = [name for name in self.bands if name not in VARIABLES["totals"]]
        if strays:
            raise ValueError(f"bands: {strays[0]!r} is no total")
        for kind in NAMED:
            if count and kind in OF_ONE_ANGLE and getattr(self, kind):
                raise ValueError(f"{kind}: only a result at one angle of attack has them")
            groups = {
                _group_name(kind, name): _checked(kind, f"{kind}/{name}", values, count)
                for name, values in getattr(self, kind).items()
            }
            put(kind, MappingProxyType(groups))
        if not self.polar:
            put("convergence", _checked("convergence", "convergence", self.convergence, 0))
            return
        keys = [history_key(i) for i in range(count)]
        if list(self.convergence) != keys:
            raise ValueError(
                f"convergence of a polar of {count} angles needs the histories {', '.join(keys)}, "
                f"found {', '.join(self.convergence) or 'none'}"
            )
        histories = {
            key: _checked("convergence", f"convergence/{key}", self.convergence[key], 0)
            for key in keys
        }
        put("convergence", MappingProxyType(histories))

    @property
    def polar(self) -> bool:
        """Whether the result covers a list of angles of attack."""
        return bool(self.alphas)

    @property
    def histories(self) -> tuple[Values, ...]:
        """Convergence histories, one per angle of attack."""
        return tuple(self.convergence.values()) if self.polar else (self.convergence,)

    def at(self, index: int) -> Solution:
        """Return one angle of attack of a polar as a solution of its own."""
        if not self.polar:
            raise ValueError("this solution has a single angle of attack; use it as it is")
        index = range(len(self.alphas))[index]

        def pick(kind: str, values: Values) -> dict[str, Any]:
            table = VARIABLES[kind]
            return {k: v[index] if table[k].per_alpha else v for k, v in values.items()}

        groups: dict[str, Any] = {kind: pick(kind, getattr(self, kind)) for kind in PLAIN}
        for kind in NAMED:
            groups[kind] = {name: pick(kind, v) for name, v in getattr(self, kind).items()}
        return Solution(
            title=self.title,
            case_toml=self.case_toml,
            convergence=self.convergence[history_key(index)],
            version=self.version,
            created=self.created,
            **groups,
        )

    def save(self, path: str | Path) -> Path:
        """Write the solution to an HDF5 file, complete or not at all; see ``storage.save``."""
        from blownwing.solution.storage import save

        return save(self, path)

    def to_xarray(self, group: str | None = None) -> Any:
        """Return all groups as an xarray DataTree, or one such as ``strips`` as a Dataset.

        Every variable has units and long_name; arrays are copies.

        Raises:
            InputError: xarray is not installed, or there is no such group.
        """
        return labelled(self, group)

    def plot_plan(self, alpha: float | None = None) -> Figure:
        """Return a figure of the wing from above; alpha: deg, of a polar, else the middle one."""
        return drawn("plan", self, alpha)

    def plot_loading(self, alpha: float | None = None) -> Figure:
        """Return a figure of the lift along the span; alpha as for `plot_plan`."""
        return drawn("loading", self, alpha)

    def plot_slipstream(self, alpha: float | None = None) -> Figure:
        """Return a figure of axial speed and swirl along the span; alpha as for `plot_plan`."""
        return drawn("slipstream", self, alpha)

    def plot_blades(self, alpha: float | None = None) -> Figure:
        """Return a figure of the blades' loads; alpha as for `plot_plan`."""
        return drawn("blades", self, alpha)

    def plot_polar(self) -> Figure:
        """Return a figure over incidence: of a polar, or of a search for the largest lift."""
        return drawn("polar", self)

    def plot_convergence(self) -> Figure:
        """Return a figure of the residual over the iterations."""
        return drawn("convergence", self)

    def __repr__(self) -> str:
        return line(self)

    def _repr_html_(self) -> str:
        return markup(self)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Solution):
            return NotImplemented
        return list(_flat(self)) == list(_flat(other))

    __hash__ = None  # type: ignore[assignment]  # arrays inside: compared, never hashed

    def __reduce__(self) -> tuple[Any, ...]:  # mapping proxies do not pickle; studies need it
        plain = {name: _plain(getattr(self, name)) for name in VARIABLES}
        for name in ("title", "case_toml", "alphas", "version", "created"):
            plain[name] = getattr(self, name)
        return (_rebuilt, (plain,))


def history_key(index: int) -> str:
    """Return the name of the convergence history of angle `index` of a polar."""
    return f"alpha_{index:02d}"


def stacked(solutions: Sequence[Solution]) -> Solution:
    """Join solutions of one case at single angles of attack into a polar.

    Title, case text and names come from the first. Variables that are not in all of them are left
    out; geometry must be equal, but for the strips: they end at slipstream edges, which move with
    incidence, and are interpolated at those of the first.

    Raises:
        ValueError: nothing to join, a polar among them, or results that do not match.
    """
    if not solutions:
        raise ValueError("a polar needs at least one solution")
    if any(s.polar for s in solutions):
        raise ValueError("only solutions at a single angle of attack join into a polar")
    first = solutions[0]

    def join(kind: str, where: str, parts: list[Values]) -> dict[str, Any]:
        joined = {}
        for name, value in parts[0].items():
            if any(name not in p for p in parts):
                continue  # a ratio that one of the angles does not have, as at zero lift
            if VARIABLES[kind][name].per_alpha:
                joined[name] = np.array([p[name] for p in parts])
            elif all(np.array_equal(p[name], value) for p in parts):
                joined[name] = value
            else:
                raise ValueError(f"{where}/{name} differs between the angles of attack")
        return joined

    def join_groups(kind: str) -> dict[str, dict[str, Any]]:
        groups = [getattr(s, kind) for s in solutions]
        if kind == "surfaces":  # their strips end at slipstream edges too
            groups = [{n: _at_spans(v, groups[0].get(n, v)) for n, v in g.items()} for g in groups]
        if any(list(g) != list(groups[0]) for g in groups):
            raise ValueError(f"{kind}: the angles of attack have different names")
        return {n: join(kind, f"{kind}/{n}", [g[n] for g in groups]) for n in groups[0]}

    return Solution(
        title=first.title,
        case_toml=first.case_toml,
        totals=join("totals", "totals", [s.totals for s in solutions]),
        strips=join("strips", "strips", [_at_strips(s.strips, first.strips) for s in solutions]),
        **{kind: join_groups(kind) for kind in _JOINED},
        convergence={history_key(i): s.convergence for i, s in enumerate(solutions)},
        alphas=tuple(float(s.totals["alpha"]) for s in solutions),
        version=first.version,
        created=first.created,
        profile=join("profile", "profile", [s.profile for s in solutions]),
    )


def _at_strips(strips: Values, first: Values, kind: str = "strips", along: str = "y") -> Values:
    """Values over the strips of another angle at the places of the first's."""
    if np.array_equal(strips[along], first[along]):
        return strips
    table = VARIABLES[kind]

    def moved(name: str, value: Any) -> Any:
        if table[name].dim is None:
            return value
        if not table[name].per_alpha:
            return first[name]
        return np.interp(first[along], strips[along], value)

    return {name: moved(name, value) for name, value in strips.items()}


def _at_spans(surface: Values, first: Values) -> Values:
    """The same of a surface beside the wing; the wing itself has no strips there."""
    return _at_strips(surface, first, "surfaces", "s") if "s" in surface else surface


def _group_name(kind: str, name: str) -> str:
    if not _GROUP_NAME.fullmatch(name):
        raise ValueError(f"{kind}: name {name!r} may hold letters, digits, _ and - only")
    return name


def _checked(kind: str, where: str, values: Values, angles: int) -> Values:
    """Return a read-only copy of one group with every name, shape and value checked."""
    table = VARIABLES[kind]
    unknown = [name for name in values if name not in table]
    if unknown:
        raise ValueError(f"{where}: unknown variable {unknown[0]!r}; known are {', '.join(table)}")
    missing = [name for name, v in table.items() if v.required and name not in values]
    if missing:
        raise ValueError(f"{where}: variable {missing[0]!r} is missing")
    checked: dict[str, Any] = {}
    for name, value in values.items():
        dim = table[name].dim
        if dim is not None and dim not in values:
            raise ValueError(f"{where}/{name} needs its coordinate {dim!r}")
        length = None if dim is None else np.size(values[dim])
        checked[name] = _frozen(f"{where}/{name}", value, table[name], length, angles)
    return MappingProxyType(checked)


def _frozen(where: str, value: Any, variable: Variable, length: int | None, angles: int) -> Any:
    array = np.array(value, dtype=np.float64)
    shape = () if length is None else (length,)
    if angles and variable.per_alpha:
        shape = (angles, *shape)
    if array.shape != shape:
        raise ValueError(f"{where} has the shape {array.shape}, expected {shape}")
    bad = np.flatnonzero(~np.isfinite(array))
    if bad.size:
        raise SolveError(
            f"{where} is not finite in {bad.size} of {array.size} places "
            f"(first {array.flat[bad[0]]} at index {bad[0]}), so there is no result"
        )
    if array.ndim == 0:
        return float(array)
    array.flags.writeable = False
    return array


def _flat(solution: Solution) -> Iterator[tuple[str, Any]]:
    """Yield everything that makes two solutions equal, in an order that does not depend on use."""
    for name in ("title", "case_toml", "alphas", "version", "created"):
        yield name, getattr(solution, name)
    for kind in VARIABLES:
        yield from _leaves(kind, getattr(solution, kind))


def _leaves(where: str, values: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    yield where, sorted(values)
    for name in sorted(values):
        value = values[name]
        if isinstance(value, Mapping):
            yield from _leaves(f"{where}/{name}", value)
        else:
            yield f"{where}/{name}", np.asarray(value).tolist()


def _plain(values: Mapping[str, Any]) -> dict[str, Any]:
    return {k: _plain(v) if isinstance(v, Mapping) else v for k, v in values.items()}


def _rebuilt(fields: dict[str, Any]) -> Solution:
    return Solution(**fields)
