"""A sentence for summaries of many solves: whose blade sections nobody measured."""

from __future__ import annotations

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from blownwing.case.model import Case
from blownwing.propeller.blade import read_blade
from blownwing.propeller.rotor import CONSTRUCTED
from blownwing.report.trust import GENERAL_SECTION


def general_section_note(case: Case) -> str:
    """What a constructed blade section is worth, if a propeller of the case has one; else empty.

    Raises:
        InputError: a blade file that cannot be read.
    """
    bladed = [item for item in case.propellers if item.blade is not None]
    names = [
        item.name
        for item in bladed
        if any(
            table.source.startswith(CONSTRUCTED)
            for table in read_blade(case.file_path(str(item.blade))).tables.values()
        )
    ]
    if not names:
        return ""
    which = "all propellers" if len(names) == len(case.propellers) else ", ".join(names)
    return f"The section of {which} {GENERAL_SECTION}"


def print_general_section(case: Case, console: Console) -> None:
    """Print that sentence, nothing where there is none; errors as `general_section_note`."""
    note = general_section_note(case)
    if note:
        console.print(Padding(Text(note), (0, 0, 0, 2)))
