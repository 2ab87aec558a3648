"""A case written to another folder still finds the files it names."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from blownwing.case.model import Case
from blownwing.case.rewrite import rewritten


def relocated(case: Case, folder: Path) -> Case:
    """The same case with its file names rewritten to start at `folder`."""
    edits: dict[str, Any] = {
        ".".join(map(str, key)): os.path.relpath(path.resolve(), folder.resolve())
        for key, path in case.files()
    }
    tables = case.replace(**edits).model_dump(by_alias=True, exclude_none=True)
    return Case.from_tables(tables, folder)


def file_text(case: Case, folder: Path, source: str = "") -> str:
    """Text of a case file for `folder`, with the comments of the file that it was made from.

    Args:
        case: as it is to be. folder: where its file will lie. source: text of the other file.
    """
    moved = relocated(case, folder)
    return rewritten(source, moved, folder) if source else moved.to_toml()
