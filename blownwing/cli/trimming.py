"""What `solve --trim` does."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from blownwing.cli.base import counted

if TYPE_CHECKING:
    from rich.console import Console

    from blownwing.case.model import Case
    from blownwing.solution.model import Solution
    from blownwing.trim.balance import Trimmed


def speeds_place(case: Case, target: Path) -> list[Path]:
    """The table over airspeed that a trim writes beside its result, where one is asked for."""
    wanted = case.trim is not None and case.trim.airspeeds
    return [target.with_name(f"{target.stem}_trim.csv")] if wanted else []


def balanced(case: Case, lateral: bool, console: Console) -> tuple[Solution, list[Trimmed]]:
    """Print the case in balance, and over airspeed; return its solution and those trims.

    lateral: derivatives by sideslip, roll and yaw, and by each propeller, too.
    """
    from rich.text import Text

    from blownwing.report.trim_summary import print_speeds, print_trim, trim_caution
    from blownwing.trim.balance import trimmed
    from blownwing.trim.derivatives import derivatives
    from blownwing.trim.solution import over_airspeeds, stored

    found = trimmed(case)
    beside = derivatives(found, lateral)
    solution = stored(found, beside)
    print_trim(found, beside, console)
    speeds: list[Trimmed] = []
    if case.trim is not None and case.trim.airspeeds:
        with counted(console, "Trimming over airspeed", len(case.trim.airspeeds)) as tick:
            speeds = over_airspeeds(case, lambda count: tick(f"{count} in balance"))
        print_speeds(speeds, console)
    console.print(Text(trim_caution(solution)))
    console.print()
    return solution, speeds
