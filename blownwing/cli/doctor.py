"""Command doctor."""

from __future__ import annotations

import typer

from blownwing.cli.base import app, sentences
from blownwing.errors import SolveError


@app.command(short_help="Say what this installation is made of.")
def doctor() -> None:
    """Say what this installation is made of and whether it computes right; for a bug report."""
    with sentences():
        from blownwing.validation.installation import installation
        from blownwing.validation.self_check import TOLERANCE, self_check

        for what, value in installation():
            typer.echo(f"{what:<20} {value}")
        found = self_check()
        first, second = found.seconds
        typer.echo(f"{'self-check':<20} solved in {first:.2f} s, again in {second:.2f} s")
        for name, computed, stored in found.rows:
            typer.echo(f"  {name:<18} {computed:.9g}, stored {stored:.9g}")
        verdict = "as stored" if found.agrees else "NOT as stored"
        typer.echo(f"{'result':<20} {verdict}, within {found.worst:.1e} (bar {TOLERANCE:g})")
        if not found.agrees:
            raise SolveError(
                f"self-check: a value is {found.worst:.1e} off the stored one, accepted is "
                f"{TOLERANCE:g}; install blownwing anew or report the lines above"
            )
