"""A result as others want to see it: a line, a page's part, labelled arrays, figures.

Drawing stands above results in the order of imports; `drawn` reaches up to it only when a user asks
for a figure at run time, so that no module of this layer needs it.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import TYPE_CHECKING, Any

import numpy as np

from blownwing.errors import InputError
from blownwing.solution.variables import (
    OF_ITS_TOTAL,
    POLAR_COORDINATE,
    POLAR_DIMENSION,
    VARIABLES,
    Variable,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from blownwing.solution.model import Solution


def line(solution: Solution) -> str:
    """A result in one line."""
    parts = [repr(solution.title)]
    totals = solution.totals
    if solution.polar:
        parts.append(f"alpha {solution.alphas[0]:g} to {solution.alphas[-1]:g} deg")
        parts.append(f"{len(solution.alphas)} angles")
        if "CL" in totals:
            parts.append(f"CL {totals['CL'][0]:.4f} to {totals['CL'][-1]:.4f}")
    else:
        parts.append(f"alpha {totals['alpha']:g} deg")
        lift = f"CL {totals['CL']:.4f}" if "CL" in totals else f"lift {totals['lift']:.1f} N"
        parts += [lift, f"net axial force {totals.get('net_axial_force', 0.0):+.1f} N"]
    parts.append(f"{len(solution.propellers)} propellers")
    return f"<Solution {', '.join(parts)}>"


def drawn(name: str, solution: Solution, *arguments: Any) -> Figure:
    """A figure by a function of `blownwing.report.notebook`."""
    figure: Figure = getattr(_notebook(), name)(solution, *arguments)
    return figure


def markup(solution: Solution) -> str:
    """Headline numbers and the loading's figure as HTML."""
    return str(_notebook().markup(solution))


def _notebook() -> Any:
    return import_module("blownwing.report.notebook")


def labelled(solution: Solution, group: str | None) -> Any:
    """A group of a result as an xarray Dataset, or all of them as a DataTree.

    Raises:
        InputError: xarray is not installed, or there is no such group.
    """
    try:
        import xarray
    except ImportError:
        raise InputError(
            "to_xarray: needs the package xarray; pip install 'blownwing[read]' brings it"
        ) from None
    groups = {
        name: _dataset(xarray, kind, name, values, solution.alphas)
        for name, kind, values in _groups(solution)
    }
    if group is not None:
        if group not in groups:
            raise InputError(f'to_xarray: found "{group}"; accepted are {", ".join(groups)}')
        return groups[group]
    tree = xarray.DataTree.from_dict(groups)
    tree.attrs.update(title=solution.title, case_toml=solution.case_toml)
    return tree


def _groups(solution: Solution) -> list[tuple[str, str, Mapping[str, Any]]]:
    """Path, kind and values of every group that the file has too."""
    found: list[tuple[str, str, Mapping[str, Any]]] = []
    for kind in VARIABLES:
        values = getattr(solution, kind)
        nested = values and all(isinstance(item, Mapping) for item in values.values())
        if nested:
            found += [(f"{kind}/{name}", kind, item) for name, item in values.items()]
        elif values:
            found.append((kind, kind, values))
    return found


def _dataset(
    xarray: Any, kind: str, path: str, values: Mapping[str, Any], alphas: tuple[float, ...]
) -> Any:
    table = VARIABLES[kind]
    many = bool(alphas) and kind != "convergence"
    variables: dict[str, Any] = {}
    if many:
        variables[POLAR_DIMENSION] = _variable(alphas, POLAR_COORDINATE, (POLAR_DIMENSION,), path)
    for name, value in values.items():
        variable = table[name]
        dims: tuple[str, ...] = (POLAR_DIMENSION,) if many and variable.per_alpha else ()
        dims += () if variable.dim is None else (variable.dim,)
        variables[name] = _variable(value, variable, dims, path)
    return xarray.Dataset(variables)


def _variable(value: Any, variable: Variable, dims: tuple[str, ...], path: str) -> Any:
    units = variable.units
    if units == OF_ITS_TOTAL:
        units = VARIABLES["totals"][path.rpartition("/")[2]].units
    about = {"units": units, "long_name": variable.long_name}
    return dims, np.array(value, dtype=np.float64), about
