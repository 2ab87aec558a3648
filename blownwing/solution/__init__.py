"""Results: what a solve returns, its HDF5 form and its tables."""

from __future__ import annotations

from blownwing.solution.model import CAUTION, Solution, stacked
from blownwing.solution.storage import SCHEMA_VERSION, load, save
from blownwing.solution.tables import export_csv
from blownwing.solution.variables import VARIABLES, Variable

__all__ = [
    "CAUTION",
    "SCHEMA_VERSION",
    "VARIABLES",
    "Solution",
    "Variable",
    "export_csv",
    "load",
    "save",
    "stacked",
]
