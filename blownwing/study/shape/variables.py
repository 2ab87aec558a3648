"""Smooth chord and twist along the span from a few variables of a search."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blownwing.case.parts import Wing
from blownwing.study.model import ShapeSearch
from blownwing.study.shape.model import Quantity
from blownwing.study.shape.stations import shaped

Array = NDArray[np.float64]

_TWIST_UNIT = np.radians(5.0)  # scales the twist's coefficients to the chord's


class ShapeVariables:
    """From the search's variables to stations: uniform twist, twist's and chord's coefficients."""

    def __init__(self, wing: Wing, spline: Array, problem: ShapeSearch) -> None:
        self._wing, self._spline = wing, spline
        self._twist = np.radians([s.twist for s in wing.stations])
        self._chord = np.array([s.chord for s in wing.stations])
        count = spline.shape[1]
        self.twist_part = slice(0, count if problem.twist else 1)
        self._twist_basis = spline if problem.twist else np.ones((spline.shape[0], 1))
        self.chord_part = slice(self.twist_part.stop, self.twist_part.stop + count)
        self._has_chord = problem.chord
        self.size = self.chord_part.stop if problem.chord else self.twist_part.stop
        low, high = np.radians(problem.twist_range) / _TWIST_UNIT
        bounds = [(float(low), float(high))] * self.twist_part.stop
        if problem.chord:
            bounds += [problem.chord_range] * count
        self.bounds = bounds

    @property
    def origin(self) -> Array:
        """Variables of the wing as it is."""
        x = np.zeros(self.size)
        if self._has_chord:
            x[self.chord_part] = 1.0
        return x

    def starts(self, problem: ShapeSearch) -> list[Array]:
        """The wing as it is, and places around it."""
        rng = np.random.default_rng(problem.seed)
        low, high = np.array(self.bounds).T
        others = [
            np.clip(
                self.origin + 0.25 * (high - low) * rng.uniform(-1.0, 1.0, self.size), low, high
            )
            for _ in range(problem.starts - 1)
        ]
        return [self.origin, *others]

    def wing(self, x: Array) -> Wing:
        """The wing at some variables."""
        twist = self._twist + _TWIST_UNIT * (self._twist_basis @ x[self.twist_part])
        chord = self._chord
        if self._has_chord:
            chord = chord * (self._spline @ x[self.chord_part])
        return shaped(self._wing, twist, chord)

    def gradient(self, quantity: Quantity) -> Array:
        """Gradient by the variables."""
        parts = [_TWIST_UNIT * (self._twist_basis.T @ quantity.by_twist)]
        if self._has_chord:
            parts.append(self._spline.T @ (self._chord * quantity.by_chord))
        return np.concatenate(parts)
