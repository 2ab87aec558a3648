"""What `solve --trim` does."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from blownwing.cli.base import counted
from blownwing.errors import InputError

if TYPE_CHECKING:
    from rich.console import Console

    from blownwing.case.model import Case
    from blownwing.report.style import Format
    from blownwing.solution.model import Solution
    from blownwing.trim.balance import Trimmed


class Trimming(NamedTuple):
    """What was asked for of a trim."""

    wanted: bool
    failed: dict[str, str]  # propellers and how they failed
    smallest: bool  # the smallest control speed with these
    lateral: bool  # derivatives by sideslip, roll and yaw, and by each propeller


def speeds_place(case: Case, target: Path) -> list[Path]:
    """The table over airspeed that a trim writes beside its result, where one is asked for."""
    wanted = case.trim is not None and case.trim.airspeeds
    return [target.with_name(f"{target.stem}_trim.csv")] if wanted else []


def speeds_figures(found: list[Trimmed], folder: Path, fmt: Format) -> list[Path]:
    """Figures of trims over airspeed, the neutral point of each found for them.

    Errors as for `derivatives` and `write_trim_figures`.
    """
    from blownwing.report.trim_figures import write_trim_figures
    from blownwing.trim.derivatives import derivatives

    return write_trim_figures(found, [derivatives(one) for one in found], folder, fmt)


def failures(words: list[str]) -> dict[str, str]:
    """Failed propellers and their states from NAME or NAME=STATE."""
    found = {}
    for word in words:
        name, _, state = word.partition("=")
        found[name.strip()] = state.strip() or "windmilling"
    return found


def check_trimming(asked: Trimming, otherwise: bool) -> None:
    """Refuse options that do not go together.

    otherwise: whether another search is asked for. Raises InputError.
    """
    if asked.wanted and otherwise:
        raise InputError(
            "--trim: does not apply with --peak, --target or --convergence; leave one out"
        )
    for given, name in ((asked.lateral, "--lateral"), (asked.failed, "--failed")):
        if given and not asked.wanted:
            raise InputError(f"{name}: applies with --trim; add it or leave this out")
    if asked.smallest and not asked.failed:
        raise InputError("--control-speed: applies with --failed; add it or leave this out")


def balanced(case: Case, asked: Trimming, console: Console) -> tuple[Solution, list[Trimmed]]:
    """Print the case in balance, and over airspeed; return its solution and those trims.

    Errors as for `with_failures`, `control_speed`, `trimmed` and `over_airspeeds`.
    """
    from rich.text import Text

    from blownwing.report.trim_summary import (
        print_control_speed,
        print_speeds,
        print_trim,
    )
    from blownwing.trim.balance import trimmed
    from blownwing.trim.band import stream_band
    from blownwing.trim.control import control_speed
    from blownwing.trim.derivatives import derivatives
    from blownwing.trim.failure import held_by_controls, with_failures
    from blownwing.trim.solution import over_airspeeds, stored

    if asked.failed:
        held = held_by_controls(with_failures(case, asked.failed))
        console.print(
            Text("Failed: " + ", ".join(f"{name} {state}" for name, state in asked.failed.items()))
        )
        if asked.smallest:
            slow = control_speed(case, asked.failed)
            print_control_speed(slow, console)
        case = held
    found = trimmed(case)
    whole = not case.is_symmetric
    beside = derivatives(found, asked.lateral) if asked.lateral or not whole else None
    band = stream_band(found, margin=beside is not None)
    solution = stored(found, beside, band)
    print_trim(found, beside, band, console)
    speeds: list[Trimmed] = []
    if case.trim is not None and case.trim.airspeeds and not asked.failed:
        with counted(console, "Trimming over airspeed", len(case.trim.airspeeds)) as tick:
            speeds = over_airspeeds(case, lambda count: tick(f"{count} in balance"))
        print_speeds(speeds, console)
    return solution, speeds
