"""A small case solved and held against stored answers: whether this installation computes right.

The answers are this program's own, so that they tell an installation from another, not right from
wrong: that is what the entries under ``validation/`` are for. After a wanted change of the physics
``python -m blownwing.validation.self_check`` writes them anew.
"""

from __future__ import annotations

import csv
import time
from dataclasses import dataclass
from importlib.resources import as_file, files
from pathlib import Path

from blownwing.case.reader import read_case
from blownwing.coupling import solve
from blownwing.errors import InputError
from blownwing.solution.files import write_text

TOLERANCE = 1e-6  # relative, or of 1 for what is near 0
QUANTITIES = ("CL", "CL_unblown", "CD_induced", "CD_profile", "C_pitch", "thrust", "power")
_COLUMNS = ("quantity", "value")


@dataclass(frozen=True)
class SelfCheck:
    """What a self-check found.

    Attributes:
        rows: (quantity, computed, stored). seconds: of a first solve, which may compile kernels
            or read them from their cache, and of a second one.
    """

    rows: tuple[tuple[str, float, float], ...]
    seconds: tuple[float, float]

    @property
    def worst(self) -> float:
        """Largest difference from a stored value, of that value."""
        return max(abs(x - stored) / max(abs(stored), 1e-3) for _, x, stored in self.rows)

    @property
    def agrees(self) -> bool:
        """Whether all values are the stored ones."""
        return self.worst <= TOLERANCE


def self_check() -> SelfCheck:
    """Solve the small case twice and compare with the stored answers.

    Raises:
        InputError: the package's files are damaged. SolveError: the case has no solution.
    """
    with as_file(files("blownwing.validation") / "self_check_data") as folder:
        stored = _stored(folder / "answers.csv")
        first, computed = _solved(folder)
        second, _ = _solved(folder)
    rows = tuple((name, computed[name], stored[name]) for name in QUANTITIES)
    return SelfCheck(rows, (first, second))


def _solved(folder: Path) -> tuple[float, dict[str, float]]:
    start = time.perf_counter()
    totals = solve(read_case(folder / "case.toml")).totals
    return time.perf_counter() - start, {name: float(totals[name]) for name in QUANTITIES}


def _stored(path: Path) -> dict[str, float]:
    try:
        with path.open(encoding="utf-8", newline="") as stream:
            rows = csv.DictReader(line for line in stream if not line.startswith("#"))
            found = {row["quantity"]: float(row["value"]) for row in rows}
    except (OSError, KeyError, TypeError, ValueError) as error:
        raise InputError(f"{path}: cannot be read ({error}); install blownwing again") from None
    missing = [name for name in QUANTITIES if name not in found]
    if missing:
        raise InputError(f"{path}: found no {missing[0]}; install blownwing again")
    return found


def renew() -> Path:
    """Write the stored answers anew from what is computed now, beside this file.

    Errors as for `self_check`, and SolveError when they cannot be written.
    """
    folder = Path(__file__).with_name("self_check_data")
    _, computed = _solved(folder)

    lines = [
        "# source: computed by this program from case.toml beside this file",
        "# terms: made for this project, under its licence (MIT)",
        "# to renew after a wanted change: python -m blownwing.validation.self_check",
        ",".join(_COLUMNS),
        *(f"{name},{value!r}" for name, value in computed.items()),
    ]
    return write_text(folder / "answers.csv", "\n".join(lines) + "\n")


if __name__ == "__main__":
    print(f"Written: {renew()}")
