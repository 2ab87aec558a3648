"""What the aircraft's headline numbers hang on: one input at a time, less and more."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from blownwing.aircraft.configuration import aircraft_of
from blownwing.aircraft.headlines import Headlines, headlines
from blownwing.case.edits import places_of
from blownwing.case.model import Case
from blownwing.errors import InputError, SolveError
from blownwing.solution.records import Group, Quantity, finite

STEP = 0.05  # of each input, either way

# attribute, scale, unit and name of what is looked at
LOOKED_AT = (
    ("take_off_distance", 1.0, "m", "take-off to the screen"),
    ("CLmax", 1.0, "1", "CLmax, take-off, blown"),
    ("range", 1e-3, "km", "range in cruise"),
    ("control_speed", 1.0, "m/s", "smallest speed held, motor failed"),
)


@dataclass(frozen=True)
class Lever:
    """An input: its name in words, and the case with it times a factor."""

    name: str
    changed: Callable[[Case, float], Case]


@dataclass(frozen=True)
class Sensitivity:
    """Headline numbers with an input less and more; None with the reason where one failed."""

    name: str
    less: Headlines | None
    more: Headlines | None
    why_not: str

    def change(self, attribute: str, base: Headlines) -> tuple[float | None, float | None]:
        """Changes of a headline number from the base, with the input less and more."""
        start = getattr(base, attribute)
        less, more = (
            None if found is None else float(getattr(found, attribute) - start)
            for found in (self.less, self.more)
        )
        return less, more


@dataclass(frozen=True)
class Sensitivities:
    """The base and every input's effect; step: share by which inputs were changed."""

    base: Headlines
    items: tuple[Sensitivity, ...]
    step: float


def _scaled(*paths: str) -> Callable[[Case, float], Case]:
    """The case with the numbers at dotted paths times a factor; what is not set stays so."""

    def changed(case: Case, factor: float) -> Case:
        tables = case.model_dump()
        found = {key: v for path in paths for key, v in places_of(tables, path).items()}
        return case.replace(**{key: v * factor for key, v in found.items() if v is not None})

    return changed


def levers(case: Case) -> tuple[Lever, ...]:
    """The inputs that are looked at: those of this case that an early design still moves.

    Raises:
        InputError: a case without an aircraft table.
    """
    aircraft = aircraft_of(case)
    powers = [f"aircraft.motors.all.{key}" for key in ("power", "continuous_power")]
    found = [
        Lever("mass", _scaled("aircraft.mass")),
        Lever("drag area of the rest", _scaled("aircraft.drag_area")),
        Lever("chord, all stations", _scaled("wing.stations.all.chord")),
        Lever("power, all motors", _scaled(*powers)),
        Lever("battery, Wh/kg", _scaled("aircraft.battery.specific_energy")),
    ]
    names = [item.name for item in case.propellers]
    if len(names) > 3:
        found.append(Lever("diameter, all", _scaled("propellers.all.diameter")))
    else:
        found += [Lever(f"diameter, {n}", _scaled(f"propellers.{n}.diameter")) for n in names]
    if aircraft.take_off.flap:
        found.append(Lever("take-off flap", _scaled("aircraft.take_off.flap")))
    if aircraft.controls.fin_area is not None:
        found.append(Lever("fin area", _scaled("aircraft.controls.fin_area")))
    return tuple(found)


def sensitivities(
    case: Case, progress: Callable[[str], None] | None = None, step: float = STEP
) -> Sensitivities:
    """Headline numbers with each input less and more by a share, the others as they are.

    Mass does not follow chord, power or energy: what a change alone does.

    Args:
        case: with an aircraft. progress: called with each step's name. step: share, above 0.

    Raises:
        InputError: a case without an aircraft table.
        SolveError: when the case itself cannot be evaluated.
    """
    tell = progress or (lambda _step: None)
    tell("the case itself")
    base = headlines(case)
    items = []
    for lever in levers(case):
        found: list[Headlines | None] = []
        why = ""
        for factor in (1.0 - step, 1.0 + step):
            tell(f"{lever.name}, {100.0 * (factor - 1.0):+.0f} %")
            try:
                found.append(headlines(lever.changed(case, factor)))
            except (InputError, SolveError) as error:  # kept beside the others, with its reason
                found.append(None)
                why = str(error)
        items.append(Sensitivity(lever.name, found[0], found[1], why))
    return Sensitivities(base, tuple(items), step)


def sensitivity_record(result: Sensitivities) -> dict[str, Group]:
    """Stored quantities: the base, and each input's changes; what failed is left out.

    Raises:
        SolveError: a value that is not finite.
    """
    groups: dict[str, Group] = {"sensitivities": {}}
    for name, _, units, words in LOOKED_AT:
        units = "m" if name == "range" else units
        value = finite(name, getattr(result.base, name))
        groups["sensitivities"][name] = Quantity(value, units, words)
    groups["sensitivities"]["step"] = Quantity(result.step, "1", "share by which inputs change")
    for i, item in enumerate(result.items):
        group: Group = {}
        for name, _, units, words in LOOKED_AT:
            units = "m" if name == "range" else units
            for side, value in zip(("less", "more"), item.change(name, result.base), strict=True):
                if value is not None:
                    meaning = f"change of {words} with {side} of {item.name}"
                    group[f"{name}_{side}"] = Quantity(np.float64(value).item(), units, meaning)
        groups[f"sensitivities/{i}_{item.name.replace(' ', '_').replace('/', '_per_')}"] = group
    return groups
