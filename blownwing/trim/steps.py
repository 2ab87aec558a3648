"""Newton steps of a trim's unknowns within their limits, and what to say where they run out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from blownwing.case.trim import EQUATIONS, Trim, Unknown
from blownwing.coupling.by_surface import stalled_surfaces
from blownwing.errors import SolveError
from blownwing.trim.passes import At
from blownwing.trim.settings import is_throttle, limits_of, unit_of

Array = NDArray[np.float64]

_STUCK = 8  # passes at a limit after which it has run out
_HELD = 2  # after which it is taken to stay there
_NEARLY = 1e-4  # of the speed, that velocities at the discs may be off when a limit runs out
_ASIDE = 0.1  # of a largest step, over which slopes are measured
_LARGEST = {"alpha": 4.0, "beta": 4.0, "bank": 10.0, "path_angle": 10.0, "acceleration": 4.0}
_LARGEST_CONTROL, _LARGEST_THROTTLE = 10.0, 0.4  # of one pass


def _largest(item: Unknown) -> float:
    """Step of an unknown that one pass may take."""
    return _LARGEST_THROTTLE if is_throttle(item) else _LARGEST.get(item.name, _LARGEST_CONTROL)


class Steps:
    """The unknowns of one trim: how far they may go, and how often they were held at a limit.

    wanted: places of the balanced equations among `EQUATIONS`.
    """

    def __init__(self, trim: Trim, wanted: Sequence[int]) -> None:
        self._items, self._wanted = trim.unknowns, list(wanted)
        self._least, self._most = np.array([limits_of(item) for item in trim.unknowns]).T
        self.scales = np.array([_largest(item) for item in trim.unknowns])
        self.begin()

    def begin(self) -> None:
        """Forget what was held at limits."""
        self._stuck, self._touched = (np.zeros(self.scales.size, dtype=int) for _ in range(2))
        self._last = np.zeros(self.scales.size)

    def within(self, values: Array) -> Array:
        """Values (unknowns,) within their limits."""
        return np.asarray(np.clip(values, self._least, self._most))

    def beside(self, values: Array) -> Iterator[tuple[Array, float]]:
        """Values with one unknown after the other moved, and by how much."""
        for k, step in enumerate((_ASIDE * self.scales).tolist()):
            moved = values.copy()
            moved[k] += step if moved[k] + step <= self._most[k] else -step
            yield moved, float(moved[k] - values[k])

    def next(self, slopes: Array, values: Array, off: Array) -> tuple[Array, bool]:
        """Values one step on, and whether the step was cut.

        slopes: (equations, unknowns) of the residuals; off: (equations,) residuals. Raises
        SolveError where the unknowns do not move them.
        """
        full = self._newton(slopes, off)
        step = full / max(float(np.max(np.abs(full / self.scales))), 1.0)
        wanted = self.within(values + step)
        held = (wanted == values) & (np.abs(step) > 1e-9)
        self._stuck = np.where(held, self._stuck + 1, 0)
        self._touched += (wanted == self._least) | (wanted == self._most)
        self._last = wanted
        return wanted, bool(np.any(wanted != values + full))

    def _newton(self, slopes: Array, off: Array) -> Array:
        idle = np.flatnonzero(np.linalg.norm(slopes, axis=0) < 1e-10)
        if idle.size:
            raise SolveError(
                f"the trim cannot be reached: {self._items[int(idle[0])].name} moves none "
                f"of {self._equations}"
            )
        scaled = slopes * self.scales
        if np.linalg.cond(scaled) > 1e10:
            raise SolveError(
                "the trim cannot be reached: "
                f"{', '.join(item.name for item in self._items)} do not move "
                f"{self._equations} independently"
            )
        return np.asarray(np.linalg.solve(scaled, -off) * self.scales)

    @property
    def _equations(self) -> str:
        return ", ".join(EQUATIONS[k] for k in self._wanted)

    @property
    def ran_out(self) -> bool:
        """Whether all unknowns have been held at limits for some passes."""
        return bool(np.all(self._stuck >= _HELD))

    def check(self, at: At) -> None:
        """Raise SolveError where an unknown has long been held at a limit."""
        if np.any(self._stuck >= _STUCK) and at.lack < _NEARLY:
            raise self._run_out(self._stuck, at)

    def unreached(self, at: At, passes: int) -> SolveError:
        """Why a balance was not reached in so many passes."""
        if np.any(self._touched >= _STUCK):
            return self._run_out(self._touched, at)
        worst = max(at.lack, float(np.max(np.abs(at.residual[self._wanted]))))
        return SolveError(
            f"the trim did not converge: {self._equations} are {worst:.1e} of the weight off after "
            f"{passes} passes (model.max_iterations){_stalled(at)}"
        )

    def _run_out(self, counts: NDArray[np.int64], at: At) -> SolveError:
        k = int(np.argmax(counts))
        off = {EQUATIONS[i]: float(at.residual[i]) for i in self._wanted}
        worst = max(off, key=lambda name: abs(off[name]))
        words = "of the weight" if worst in ("axial", "normal", "side") else "of weight times chord"
        unit = unit_of(self._items[k])
        return SolveError(
            f"the trim cannot be reached: {self._items[k].name} ran out at its limit of "
            f"{self._last[k]:g}{unit and ' ' + unit}, and {worst} is {off[worst]:+.3g} {words} off"
            f"{_stalled(at)}"
        )


def _stalled(at: At) -> str:
    """Words on surfaces beside the wing that are stalled."""
    scene = at.scene
    names = stalled_surfaces(scene.case, scene.flow, at.model, at.wing)
    return f"; sections of the {', '.join(names)} are beyond their stall" if names else ""
