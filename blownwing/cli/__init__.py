"""The command line: parses, calls, prints; heavy modules load inside the commands."""

from __future__ import annotations

import sys

from typer.models import CommandInfo

# Importing a module of commands registers them.
from blownwing.cli import starting, solving, comparing, trying, operating, designing, flying  # isort: skip
from blownwing.cli.base import app, check_environment, sentences

__all__ = [
    "app",
    "comparing",
    "designing",
    "flying",
    "main",
    "operating",
    "solving",
    "starting",
    "trying",
]

# Short enough that help cuts none of them, in the order in which they are used.
_SUMMARIES = {
    "new": "Write a commented case to start from.",
    "keys": "Say what input files may hold.",
    "check": "Say what a case would solve, in words.",
    "solve": "Solve cases: results, summaries, figures.",
    "plot": "Draw the figures of any result.",
    "report": "Write a page on any result.",
    "compare": "Put results side by side.",
    "explore": "Move propellers on a local page.",
    "sweep": "Run the cases of a study.",
    "export": "Write a case of a sweep as a file.",
    "optimize": "Search the best shape or places.",
    "propeller-states": "Drag and torque off design, derivatives.",
    "propeller-map": "Curves and maps of CT, CP, efficiency.",
    "design-propeller": "Design blades for a task.",
    "fit-propeller": "Find a blade's section from measurements.",
    "aircraft": "Take-off to range, failed motor, trade.",
    "validate": "Compare with what others found.",
    "doctor": "Say what this installation is made of.",
}


def _named(command: CommandInfo) -> str:
    written = command.callback.__name__ if command.callback else ""
    return command.name or written.replace("_", "-")


for _command in app.registered_commands:
    _command.short_help = _SUMMARIES.get(_named(_command), _command.short_help)
_order = list(_SUMMARIES)
app.registered_commands.sort(
    key=lambda command: _order.index(_named(command)) if _named(command) in _order else len(_order)
)


def main() -> None:
    """Run the command line; the entry point of the ``blownwing`` command.

    Errors end it with a sentence and an exit code, see `base.sentences`.
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a terminal without Greek letters still gets a summary
            stream.reconfigure(errors="replace")
    with sentences():
        check_environment()
        app()
