"""A case written to another folder still finds the files it names."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from blownwing.case.model import Case


def relocated(case: Case, folder: Path) -> Case:
    """The same case with its file names rewritten to start at `folder`."""
    edits: dict[str, Any] = {
        ".".join(map(str, key)): os.path.relpath(path.resolve(), folder.resolve())
        for key, path in case.files()
    }
    tables = case.replace(**edits).model_dump(by_alias=True, exclude_none=True)
    return Case.from_tables(tables, folder)
