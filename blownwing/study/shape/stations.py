"""Stations of a wing whose chord and twist are searched along an unchanging quarter-chord line."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blownwing.case.parts import Wing
from blownwing.errors import InputError

Array = NDArray[np.float64]


def shaped(wing: Wing, twist: Array, chord: Array) -> Wing:
    """The wing with other twist and chord on the same quarter-chord line.

    twist: (stations,) rad; chord: (stations,) m.
    """
    stations = tuple(
        station.model_copy(
            update={
                "twist": float(np.degrees(t)),
                "chord": float(c),
                "x": float(station.x + 0.25 * (station.chord - c)),
            }
        )
        for station, t, c in zip(wing.stations, twist, chord, strict=True)
    )
    return wing.model_copy(update={"stations": stations})


def refined_stations(wing: Wing, count: int) -> Wing:
    """The same wing with about `count` stations, its own among them, crowded towards the tips.

    More than eight stations describe a curve: the lattice then has no strip edges at them, and
    keeps its strips when chord and twist change.

    Raises:
        InputError: sections that differ along the span.
    """
    names = {station.airfoil for station in wing.stations}
    if len(names) > 1:
        raise InputError(
            f"wing.stations: found the sections {', '.join(sorted(names))}; accepted in a shape "
            "optimisation is one section along the span"
        )
    first, last = wing.stations[0].y, wing.stations[-1].y
    t = np.linspace(0.0, 1.0, count)
    share = np.sin(0.5 * np.pi * t) if wing.symmetric else 0.5 * (1.0 - np.cos(np.pi * t))
    ys = np.array([s.y for s in wing.stations])
    places = np.union1d(first + (last - first) * share, ys)
    keep = np.concatenate(([True], np.diff(places) > 1e-6 * (last - first)))
    places = places[keep]
    model = wing.stations[0]

    def at(name: str) -> Array:
        return np.asarray(np.interp(places, ys, [getattr(s, name) for s in wing.stations]))

    columns = {name: at(name) for name in ("x", "z", "chord", "twist")}
    stations = tuple(
        model.model_copy(update={"y": float(y)} | {k: float(v[i]) for k, v in columns.items()})
        for i, y in enumerate(places)
    )
    return wing.model_copy(update={"stations": stations})
