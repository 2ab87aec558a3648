"""What a file that the program wrote holds."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from blownwing.errors import InputError
from blownwing.solution.files import check_seal

Kind = Literal["result", "study", "aircraft", "trade", "optimum", "map"]


def kind_of(path: str | Path) -> Kind:
    """Tell a result of one case from a study, an aircraft, a trade, an optimum and a map.

    A file that cannot be told apart, or read, counts as a result, whose reader says what is wrong.

    Raises:
        InputError: the file is damaged.
    """
    import h5py

    path = Path(path)
    if not path.is_file():
        return "result"
    try:
        with path.open("rb") as stream:
            if stream.read(8) != b"\x89HDF\r\n\x1a\n":
                return "result"
        check_seal(path)
        with h5py.File(path, "r") as file:
            if "study_schema" in file.attrs:
                return "study"
            if "schema" in file.attrs:
                return "map"
            if file.attrs.get("kind") == "aircraft":
                return "trade" if "trade" in file else "aircraft"
            return "optimum" if file.attrs.get("kind") == "optimum" else "result"
    except PermissionError as error:
        raise InputError(f"{path}: no permission to read this file") from error
    except (OSError, KeyError, RuntimeError, TypeError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"{path}: truncated, damaged or incomplete ({error})") from error


def texts_of(path: str | Path) -> dict[str, str]:
    """The texts that stand at the head of a file: title, case, version, time.

    Raises:
        InputError: the file cannot be read.
    """
    import h5py

    try:
        with h5py.File(path, "r") as file:
            return {name: str(v) for name, v in file.attrs.items() if isinstance(v, str)}
    except OSError as error:
        raise InputError(f"{path}: truncated, damaged or incomplete ({error})") from error
