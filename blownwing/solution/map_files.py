"""Performance maps as HDF5 files that describe themselves, and their reuse."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from blownwing.case.units import RPM
from blownwing.propeller.map import PerformanceMap
from blownwing.solution.records import Quantity, read_records, read_sentences, write_records

_OVER = ("pitch", "advance_ratio")
_ERROR = "interpolation error of {} in the middle of the cells"
_MAP: dict[str, tuple[str, str, tuple[str, ...]]] = {  # units, meaning, dimensions
    "advance_ratio": ("1", "advance ratio J = V/nD", ("advance_ratio",)),
    "pitch": ("deg", "blade pitch added to the twist", ("pitch",)),
    "thrust_coefficient": ("1", "thrust coefficient CT = T/(rho n2 D4)", _OVER),
    "power_coefficient": ("1", "power coefficient CP = P/(rho n3 D5)", _OVER),
    "efficiency": ("1", "propeller efficiency J CT/CP, 0 where it does not drive", _OVER),
    "rpm": ("1/min", "rotor speed the map was solved at", ()),
    "diameter": ("m", "propeller diameter", ()),
    "blades": ("1", "number of blades", ()),
    "density": ("kg/m3", "air density", ()),
    "thrust_error_max": ("1", f"largest {_ERROR.format('CT')}", ()),
    "thrust_error_rms": ("1", f"root mean square {_ERROR.format('CT')}", ()),
    "power_error_max": ("1", f"largest {_ERROR.format('CP')}", ()),
    "power_error_rms": ("1", f"root mean square {_ERROR.format('CP')}", ()),
}


def save_map(table: PerformanceMap, path: str | Path, title: str = "") -> Path:
    """Write a map; the file is complete or absent. Read it with `load_map`, or any HDF5 reader.

    Raises:
        InputError: the place cannot be written. SolveError: the system refused while writing.
    """
    values = {
        "advance_ratio": table.advance_ratio,
        "pitch": np.degrees(table.pitch),
        "thrust_coefficient": table.thrust,
        "power_coefficient": table.power,
        "efficiency": table.efficiency,
        "rpm": table.omega / RPM,
        "diameter": table.diameter,
        "blades": float(table.blades),
        "density": table.density,
        "thrust_error_max": table.thrust_error[0],
        "thrust_error_rms": table.thrust_error[1],
        "power_error_max": table.power_error[0],
        "power_error_rms": table.power_error[1],
    }
    group = {name: Quantity(values[name], *about) for name, about in _MAP.items()}
    return write_records(path, "map", {"": group}, {"title": title, "key": table.key})


def load_map(path: str | Path) -> PerformanceMap:
    """Read a map written by `save_map`.

    Raises:
        InputError: the file is missing, damaged, or no such map.
    """
    path = Path(path)
    found = read_records(path, "map")
    with read_sentences(path):
        values = found.numbers("")
        table = PerformanceMap(
            advance_ratio=np.array(values["advance_ratio"], dtype=np.float64),
            pitch=np.radians(values["pitch"]),
            thrust=np.array(values["thrust_coefficient"], dtype=np.float64),
            power=np.array(values["power_coefficient"], dtype=np.float64),
            omega=values["rpm"] * RPM,
            diameter=values["diameter"],
            blades=round(values["blades"]),
            density=values["density"],
            thrust_error=(values["thrust_error_max"], values["thrust_error_rms"]),
            power_error=(values["power_error_max"], values["power_error_rms"]),
            key=found.text("key"),
        )
        shape = (len(table.pitch), len(table.advance_ratio))
        finite = np.isfinite(table.thrust).all() and np.isfinite(table.power).all()
        if table.thrust.shape != shape or table.power.shape != shape or not finite:
            raise ValueError("the map's fields do not fit its grid or are not finite")
    return table
