"""The command line: parses, calls, prints; heavy modules load inside the commands."""

from __future__ import annotations

import sys

# Importing a module of commands registers them, in the order in which help lists them.
from blownwing.cli import solving, comparing, trying, operating, designing, flying  # isort: skip
from blownwing.cli.base import app, check_environment, sentences

__all__ = ["app", "comparing", "designing", "flying", "main", "operating", "solving", "trying"]


def main() -> None:
    """Run the command line; the entry point of the ``blownwing`` command."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a terminal without Greek letters still gets a summary
            stream.reconfigure(errors="replace")
    with sentences():
        check_environment()
        app()
