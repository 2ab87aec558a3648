"""Command check."""

from __future__ import annotations

from blownwing.cli.base import CaseFile, app, new_console, sentences


@app.command(short_help="Say what a case would solve, in words.")
def check(case_file: CaseFile) -> None:
    """Read a case and say in words what would be solved, without solving it."""
    with sentences():
        from blownwing.case.reader import read_case

        case = read_case(case_file)
        from blownwing.report.explain import print_case

        print_case(case, new_console(), margin=True)
