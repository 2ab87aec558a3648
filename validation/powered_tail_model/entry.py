"""A complete model with two propellers ahead of its tail: what power does to it."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

from blownwing.case.model import Case
from blownwing.case.reader import read_case
from blownwing.coupling import solve
from blownwing.validation import Row, published_rows

HERE = Path(__file__).parent
INCIDENCES, DEFLECTION = (-5.0, 7.0, 12.0), 15.0
STOPPED = 17.7  # J of the propellers that hardly turn
PARTS = ("surfaces", "thrust", "normal force")
# Balance values with elevator 0, not corrected for walls and struts: CL, CM power on and stopped.
MEASURED = {
    -5.0: ((-0.344, 0.136), (-0.352, 0.189)),
    7.0: ((1.013, -0.362), (0.954, -0.248)),
    12.0: ((1.347, -0.696), (1.242, -0.499)),
}


def model(power: bool, **edits: object) -> Case:
    """The model with its propellers at J 1.6, or braked by their drag where they hardly turn."""
    case = read_case(HERE / "model.toml")
    if not power:
        rpm = 60.0 * case.flow.airspeed / (STOPPED * case.propellers[0].diameter)
        braked = {"table": "stopped.csv", "rpm": rpm, "solidity": None}
        case = case.replace(**{f"propellers.0.{key}": value for key, value in braked.items()})
    return case.replace(**edits)


def without_drag(power: bool, **edits: object) -> Case:
    """The same, stopped propellers taken away: what their drag is worth."""
    if power:
        return model(True, **edits)
    others = {key: value for key, value in edits.items() if not key.startswith("propellers")}
    return model(True, propellers=[], **others)


def coefficients(case: Case) -> dict[str, tuple[float, float]]:
    """CL and CM about the wing's quarter chord that each of `PARTS` brings."""
    found = solve(case)
    totals = found.totals
    unit = totals["reference_dynamic_pressure"] * totals["reference_area"]
    chord = totals["reference_chord"]
    thrust_moment = normal = normal_moment = 0.0
    for item in case.propeller_list():
        values = found.propellers[item.name]
        x, _, z = item.position
        thrust_moment -= values["thrust"] * z
        normal += values.get("normal_force", 0.0)
        normal_moment -= values.get("normal_force", 0.0) * x
    lifted = totals.get("CL_from_thrust", 0.0) - normal / unit
    return {
        "surfaces": (totals["CL"], totals["C_pitch"]),
        "thrust": (lifted, thrust_moment / unit / chord),
        "normal force": (normal / unit, normal_moment / unit / chord),
    }


def summed(parts: dict[str, tuple[float, float]], names: tuple[str, ...]) -> tuple[float, float]:
    """CL and CM of some of the parts."""
    return sum(parts[n][0] for n in names), sum(parts[n][1] for n in names)


def _half(
    power: bool, edits: dict[str, object], made: Callable[..., Case]
) -> dict[tuple[bool, float, float], dict[str, tuple[float, float]]]:
    """The half of `states` with or without power."""
    return {
        (power, alpha, angle): coefficients(
            made(power, **{"flow.alpha": alpha, "controls": {"elevator": angle}, **edits})
        )
        for alpha in INCIDENCES
        for angle in (-DEFLECTION, 0.0, DEFLECTION)
    }


def states(
    edits: dict[str, object] | None = None, made: Callable[..., Case] = model
) -> dict[tuple[bool, float, float], dict[str, tuple[float, float]]]:
    """Coefficients by power, incidence and elevator.

    edits: of the model, solidity only of propellers that work; made: `model` or `without_drag`.
    """
    edits = edits or {}
    stopped = {name: value for name, value in edits.items() if not name.endswith("solidity")}
    return {**_half(True, edits, made), **_half(False, stopped, made)}


def ratios(
    found: dict[tuple[bool, float, float], dict[str, tuple[float, float]]],
    names: tuple[str, ...] = PARTS,
) -> dict[str, float]:
    """Power on over stopped, of the sum of some of the parts."""

    def at(power: bool, alpha: float, angle: float = 0.0) -> tuple[float, float]:
        return summed(found[power, alpha, angle], names)

    def elevator(power: bool, alpha: float) -> float:
        return at(power, alpha, DEFLECTION)[1] - at(power, alpha, -DEFLECTION)[1]

    def slope(power: bool, which: int) -> float:
        return at(power, 7.0)[which] - at(power, -5.0)[which]

    each = {a: elevator(True, a) / elevator(False, a) for a in INCIDENCES}
    head = "elevator effectiveness, power on over stopped, "
    words = {a: f"{head}{a:g}°".replace("-", "−") for a in INCIDENCES}
    return {
        f"{head}mean of three incidences": sum(each.values()) / len(each),
        **{words[a]: each[a] for a in INCIDENCES},
        "dCL/dα, power on over stopped, −5 to 7°": slope(True, 0) / slope(False, 0),
        "dCM/dα, power on over stopped, −5 to 7°": slope(True, 1) / slope(False, 1),
    }


def rows() -> list[Row]:
    """Rows of this entry."""
    return published_rows(HERE, ratios(states()))


def main() -> None:
    """Print ratios by part, absolute values and what the assumptions are worth."""
    found = states()
    for names in (PARTS[:1], PARTS[:2], PARTS):
        print(" + ".join(names))
        for words, value in ratios(found, names).items():
            print(f"  {words}: {value:.3f}")
    for alpha in INCIDENCES:
        for power, measured in zip((True, False), MEASURED[alpha], strict=True):
            lift, pitch = summed(found[power, alpha, 0.0], PARTS)
            state = "J 1.6" if power else "stopped"
            print(
                f"alpha {alpha:g}, {state}: CL {lift:.3f} ({measured[0]:.3f} measured), "
                f"CM {pitch:.3f} ({measured[1]:.3f})"
            )
    if "--assumptions" in sys.argv:
        higher = {f"surfaces.0.stations.{k}.z": z for k, z in ((0, 0.05), (1, 0.08027))}
        variants: dict[str, dict[str, object]] = {
            "tail 0.05 m above the wing": {**higher, "propellers.0.position.z": 0.0712},
            "discs 0.06 m ahead of the tail": {"propellers.0.position.x": 0.438},
            "discs 0.15 m ahead of the tail": {"propellers.0.position.x": 0.348},
            "solidity 0.15": {"propellers.0.solidity": 0.15},
            "outboard up": {"propellers.0.spin": "outboard_up"},
        }
        for words, edits in variants.items():
            print(words)
            for name, value in ratios(states(edits)).items():
                print(f"  {name}: {value:.3f}")
        print("stopped propellers without drag")
        for name, value in ratios(states(made=without_drag)).items():
            print(f"  {name}: {value:.3f}")


if __name__ == "__main__":
    main()
