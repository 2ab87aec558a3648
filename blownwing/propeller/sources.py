"""Which files a case depends on, those named inside other files included."""

from __future__ import annotations

import os
from pathlib import Path

from blownwing.case.model import Case
from blownwing.case.textfiles import input_text, row_words
from blownwing.errors import InputError


def input_files(case: Case) -> list[Path]:
    """Every file whose contents decide the result of a case, each once, its own file left out.

    Args:
        case: as read, with its folder.

    Returns:
        Sections and blades named in the case, then the sections named inside the blades. A blade
        that cannot be read names none; reading it properly says why.
    """
    named = [path for _, path in case.files()]
    names = [name for item in case.propellers for name in (item.blade, item.shape) if name]
    blades = [case.file_path(name) for name in names]
    sections = [path for blade in dict.fromkeys(blades) for path in blade_sections(blade)]
    return list(dict.fromkeys([*named, *sections]))


def blade_sections(blade: Path) -> list[Path]:
    """The section files that a blade file names, each once; none of a file that cannot be read."""
    try:
        lines = input_text(blade).splitlines()
    except InputError:
        return []
    names: dict[str, None] = {}
    for line in lines:
        if line.strip() and not line.startswith("#"):
            try:
                words = row_words(line, str(blade))
            except InputError:
                continue
            names |= dict.fromkeys(words[3:4])
    return [blade.parent / name for name in names if os.path.isfile(blade.parent / name)]
