"""A result as others want to see it: a line, a page's part, labelled arrays, figures.

Drawing stands above results in the order of imports; `drawn` reaches up to it only when a user asks
for a figure at run time, so that no module of this layer needs it.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

import numpy as np

from blownwing.errors import InputError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from blownwing.solution.model import Solution
    from blownwing.solution.records import Quantity


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
    from blownwing.solution.storage import groups_of

    groups = {
        path: xarray.Dataset({name: _variable(q) for name, q in found.items()})
        for path, found in groups_of(solution).items()
    }
    if group is not None:
        if group not in groups:
            raise InputError(f'to_xarray: found "{group}"; accepted are {", ".join(groups)}')
        return groups[group]
    tree = xarray.DataTree.from_dict(groups)
    tree.attrs.update(title=solution.title, case_toml=solution.case_toml)
    return tree


def _variable(quantity: Quantity) -> tuple[tuple[str, ...], Any, dict[str, str]]:
    about = {"units": quantity.units, "long_name": quantity.long_name}
    return quantity.over, np.array(quantity.value, dtype=np.float64), about
