"""Performance maps as HDF5 files that describe themselves, and their reuse."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from blownwing import __version__
from blownwing.case.units import RPM
from blownwing.errors import InputError
from blownwing.propeller.map import PerformanceMap
from blownwing.solution.files import check_seal, hdf5_file, write_whole
from blownwing.solution.model import CAUTION

SCHEMA = "performance_map_1"
_SCALES = {
    "advance_ratio": ("1", "advance ratio J = V/nD"),
    "pitch": ("deg", "blade pitch added to the twist"),
}
_FIELDS = {
    "thrust_coefficient": ("1", "thrust coefficient CT = T/(rho n2 D4)"),
    "power_coefficient": ("1", "power coefficient CP = P/(rho n3 D5)"),
    "efficiency": ("1", "propeller efficiency J CT/CP, 0 where it does not drive"),
}
_NUMBERS = {
    "rpm": ("1/min", "rotor speed the map was solved at"),
    "diameter": ("m", "propeller diameter"),
    "blades": ("1", "number of blades"),
    "density": ("kg/m3", "air density"),
    "thrust_error_max": ("1", "largest interpolation error of CT in the middle of the cells"),
    "thrust_error_rms": ("1", "root mean square interpolation error of CT there"),
    "power_error_max": ("1", "largest interpolation error of CP in the middle of the cells"),
    "power_error_rms": ("1", "root mean square interpolation error of CP there"),
}


def save_map(table: PerformanceMap, path: str | Path, title: str = "") -> Path:
    """Write a map; the file is complete or absent. Read it with `load_map`, or any HDF5 reader.

    Raises:
        InputError: the place cannot be written. SolveError: the system refused while writing.
    """
    return write_whole(path, lambda partial: _write(table, partial, title))


def load_map(path: str | Path) -> PerformanceMap:
    """Read a map written by `save_map`.

    Raises:
        InputError: the file is missing, damaged, or no such map.
    """
    import h5py

    path = Path(path)
    if not path.is_file():
        raise InputError(f"{path}: there is no such performance map")
    try:
        check_seal(path)
        with h5py.File(path, "r") as file:
            if file.attrs.get("schema") != SCHEMA:
                raise InputError(f"{path}: HDF5, but not a performance map of this version")
            numbers = {name: float(file[name][()]) for name in _NUMBERS}
            table = PerformanceMap(
                advance_ratio=np.array(file["advance_ratio"]),
                pitch=np.radians(file["pitch"]),
                thrust=np.array(file["thrust_coefficient"]),
                power=np.array(file["power_coefficient"]),
                omega=numbers["rpm"] * RPM,
                diameter=numbers["diameter"],
                blades=round(numbers["blades"]),
                density=numbers["density"],
                thrust_error=(numbers["thrust_error_max"], numbers["thrust_error_rms"]),
                power_error=(numbers["power_error_max"], numbers["power_error_rms"]),
                key=str(file.attrs["key"]),
            )
    except InputError:
        raise
    except (OSError, KeyError, RuntimeError, TypeError, ValueError, AttributeError) as error:
        reason = " ".join(str(error).split())
        raise InputError(f"{path}: not a readable performance map ({reason})") from error
    shape = (len(table.pitch), len(table.advance_ratio))
    finite = np.isfinite(table.thrust).all() and np.isfinite(table.power).all()
    if table.thrust.shape != shape or table.power.shape != shape or not finite:
        raise InputError(f"{path}: the map's fields do not fit its grid or are not finite")
    return table


def _write(table: PerformanceMap, path: Path, title: str) -> None:
    values: dict[str, Any] = {
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
    with hdf5_file(path) as file:
        file.attrs["schema"] = SCHEMA
        file.attrs["title"] = title
        file.attrs["key"] = table.key
        file.attrs["blownwing_version"] = __version__
        file.attrs["caution"] = CAUTION
        for name, (units, long_name) in (_SCALES | _FIELDS | _NUMBERS).items():
            dataset = file.create_dataset(name, data=np.asarray(values[name], dtype=np.float64))
            dataset.attrs["units"] = units
            dataset.attrs["long_name"] = long_name
        for name in _SCALES:
            file[name].make_scale(name)
        for name in _FIELDS:
            file[name].dims[0].attach_scale(file["pitch"])
            file[name].dims[1].attach_scale(file["advance_ratio"])
