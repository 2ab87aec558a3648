"""Solutions as files: their groups, and back.

Groups ``/totals``, ``/strips``, ``/profile``, ``/propellers/<name>``, ``/slipstreams/<name>`` and
``/convergence`` (in a polar ``/convergence/alpha_00`` and so on, since histories differ in length);
where there are surfaces beside the wing ``/surfaces/<name>``, of a trim ``/balance/<unknown>`` and
``/derivatives/<variable>``, and where they were asked for, ``/peaks/<name>`` and
``/bands/<quantity>``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from blownwing.solution.model import Solution, history_key
from blownwing.solution.records import (
    SCHEMA_VERSION,
    Group,
    Records,
    read_records,
    read_sentences,
    valued,
    write_records,
)
from blownwing.solution.variables import (
    NAMED,
    OF_ITS_TOTAL,
    OF_ONE_ANGLE,
    PLAIN,
    POLAR_COORDINATE,
    POLAR_DIMENSION,
    VARIABLES,
)

__all__ = ["SCHEMA_VERSION", "groups_of", "load", "save"]

# Names that files of version 1 have otherwise: beside `cl` of strips they differed by case only.
_OLD_NAMES = {"Cl": "C_roll", "Cm": "C_pitch", "Cn": "C_yaw", "Cm_unblown": "C_pitch_unblown"}


def save(solution: Solution, path: str | Path) -> Path:
    """Write ``solution`` to ``path`` and return it; the file is complete or absent.

    Raises:
        InputError: the folder is missing or not writable, or the path is a folder.
        SolveError: the system refused while writing.
    """
    attributes = {
        "title": solution.title,
        "blownwing_version": solution.version,
        "created": solution.created,
        "case_toml": solution.case_toml,
    }
    return write_records(path, "result", groups_of(solution), attributes)


def load(path: str | Path) -> Solution:
    """Read a solution written by :func:`save`.

    Raises:
        InputError: the file is missing, a folder, not HDF5, damaged, or not such a result.
    """
    path = Path(path)
    found = read_records(path, "result")
    with read_sentences(path):
        return _solution(found)


def groups_of(solution: Solution) -> dict[str, Group]:
    """Every group of a solution by its path, as the file has them."""
    alphas = solution.alphas
    groups = {kind: quantities(kind, getattr(solution, kind), alphas) for kind in PLAIN}
    for kind in NAMED:
        angles = () if kind in OF_ONE_ANGLE else alphas
        for name, values in getattr(solution, kind).items():
            units = VARIABLES["totals"][name].units if kind == "bands" else ""
            groups[f"{kind}/{name}"] = quantities(kind, values, angles, units)
    if not alphas:
        groups["convergence"] = quantities("convergence", solution.convergence, ())
    for key, alpha in zip(solution.convergence, alphas, strict=False):
        at: Group = {POLAR_DIMENSION: valued(POLAR_COORDINATE, alpha)}
        groups[f"convergence/{key}"] = at | quantities("convergence", solution.convergence[key], ())
    return {path: group for path, group in groups.items() if group}


def quantities(
    kind: str, values: Mapping[str, Any], alphas: tuple[float, ...], units: str = ""
) -> Group:
    """Values of one group with what `VARIABLES` says of them.

    Args:
        kind: of group. values: by name. alphas: deg, of a polar.
        units: of those that have the units of a total.
    """
    table = VARIABLES[kind]
    group: Group = {}
    if alphas and values:
        group[POLAR_DIMENSION] = valued(POLAR_COORDINATE, alphas, (POLAR_DIMENSION,))
    for name, value in values.items():
        variable = table[name]
        over = () if variable.dim is None else (variable.dim,)
        if alphas and variable.per_alpha:
            over = (POLAR_DIMENSION, *over)
        if variable.units == OF_ITS_TOTAL:
            variable = replace(variable, units=units)
        group[name] = valued(variable, value, over)
    return group


def _solution(found: Records) -> Solution:
    old = _OLD_NAMES if found.version == 1 else {}
    for path, group in found.groups.items():  # datasets where groups belong
        strays = VARIABLES if not path else group if path in NAMED else ()
        for name in strays:
            if name in group:
                raise ValueError(f"the group /{path}/{name} is missing".replace("//", "/"))

    def today(values: Mapping[str, Any]) -> dict[str, Any]:
        return {old.get(k, k): v for k, v in values.items() if k != POLAR_DIMENSION}

    alphas = found.numbers("totals").get(POLAR_DIMENSION, ())
    if len(alphas):
        keys = [history_key(k) for k in range(len(alphas))]
        convergence = {key: today(found.numbers(f"convergence/{key}")) for key in keys}
    else:
        convergence = today(found.numbers("convergence"))
    named = {
        kind: {old.get(name, name): today(v) for name, v in found.named(kind).items()}
        for kind in NAMED
    }
    return Solution(
        title=found.text("title"),
        case_toml=found.text("case_toml"),
        totals=today(found.numbers("totals")),
        strips=today(found.numbers("strips")),
        profile=today(found.numbers("profile")) if "profile" in found.groups else {},
        convergence=convergence,
        alphas=tuple(alphas),
        version=found.text("blownwing_version"),
        created=found.text("created"),
        **named,
    )
