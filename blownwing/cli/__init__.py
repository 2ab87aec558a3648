"""The command line: parses, calls, prints; heavy modules load inside the commands."""

from __future__ import annotations

import sys
from importlib import import_module

from blownwing.cli.base import app, check_environment, sentences

__all__ = ["app", "main"]

# Importing the module of a command registers it; help lists them in this order.
for _command in (
    "new keys check solve plot report compare explore sweep export optimize propeller_states "
    "propeller_map design_propeller fit_propeller aircraft validate doctor"
).split():
    import_module(f"{__name__}.{_command}")


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
