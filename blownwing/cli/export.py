"""Command export."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from blownwing.cli.base import StudyFile, app, inputs_of, sentences
from blownwing.errors import InputError


@app.command(short_help="Write a case of a sweep as a file.")
def export(
    study_file: StudyFile,
    row: Annotated[int, typer.Option("--row", min=0, help="Number of the case, from 0.")],
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="CASE.toml", help="Default: <study>_<row>.toml."),
    ] = None,
    own_model: Annotated[
        bool,
        typer.Option("--own-model", help="With the case's own [model], not the study's edits."),
    ] = False,
) -> None:
    """Write one case of a sweep as a case file, its comments kept."""
    with sentences():
        from blownwing.case.reader import read_text
        from blownwing.solution.files import check_outputs, write_text
        from blownwing.study.reader import read_study
        from blownwing.study.relocation import file_text
        from blownwing.study.sweep.best_again import row_case

        study = read_study(study_file)
        target = output or Path(f"{study_file.stem}_{row}.toml")
        if target.suffix.lower() != ".toml":
            raise InputError(f"{target}: a case's name ends in .toml")
        check_outputs([target], inputs_of(study.base, study_file, study.case_file))
        case = row_case(study, row, own_model)
        text = file_text(case, target.parent, read_text(study.case_file))

        typer.echo(f"Written: {write_text(target, text)}")
