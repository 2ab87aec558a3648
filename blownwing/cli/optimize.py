"""Command optimize: shapes and places."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from blownwing.cli.base import (
    FigureFormat,
    Format,
    StudyFile,
    app,
    check_format,
    inputs_of,
    listed,
    new_console,
    sentences,
)
from blownwing.errors import InputError

if TYPE_CHECKING:
    from rich.console import Console

    from blownwing.solution.groups import Words
    from blownwing.solution.records import Group
    from blownwing.study.model import Study


@app.command(short_help="Search the best shape or places.")
def optimize(
    study_file: StudyFile,
    output: Annotated[
        Path | None,
        typer.Option(
            "-o", "--output", metavar="FOLDER", help="Where files go; default: this folder."
        ),
    ] = None,
    figures: Annotated[bool, typer.Option("--figures", help="Write the figure too.")] = False,
    fmt: Format = None,
) -> None:
    """Search the wing's best chord and twist, or the propellers' best places and settings."""
    with sentences():
        check_format(fmt, figures)
        from blownwing.report.figures import made_folder
        from blownwing.solution.files import check_outputs, check_picture_folder
        from blownwing.study.reader import read_study

        study = read_study(study_file)
        problem = study.optimize
        if (problem is None) == (study.placement is None):
            hint = "; a sweep is run by 'blownwing sweep'" if study.sweep is not None else ""
            raise InputError(
                f"{study_file}: accepted is a study with exactly one of [optimize] and [placement]"
                f"{hint}"
            )
        folder = output or Path()
        check_picture_folder(folder)
        prefix = folder / study_file.stem
        pictures = prefix.with_name(f"{study_file.stem}_optimum_figures")
        ends = ["_optimum.toml", "_optimum.h5", *([] if problem is None else ["_shape.csv"])]
        check_outputs(
            [folder / f"{study_file.stem}{end}" for end in ends] if folder.is_dir() else [],
            inputs_of(study.base, study_file, study.case_file),
            pictures if figures else None,
        )
        made_folder(folder)
        console, search = new_console(), _placement if problem is None else _shape
        groups, words, text, written = search(study, prefix, console)
        from blownwing.report.group_page import write_group_figures
        from blownwing.report.words import print_words
        from blownwing.solution.groups import save_groups

        texts = {"study_toml": study.text, "optimum_toml": text}
        title, source = study.title or study.base.title, study.base.to_toml()
        target = prefix.with_name(f"{study_file.stem}_optimum.h5")
        written.append(save_groups(groups, title, source, target, words, "optimum", texts))
        if figures:
            written += write_group_figures(target, pictures, (fmt or FigureFormat.png).value)
        print_words(title or "Optimum", words, console)
        typer.echo(f"Written: {listed(written)}")


Optimum = tuple["dict[str, Group]", "Words", str, list[Path]]


def _shape(study: Study, prefix: Path, console: Console) -> Optimum:
    from blownwing.case.reader import read_text
    from blownwing.report.shape_report import shape_text, shape_words, write_shape
    from blownwing.report.study_summary import search_progress
    from blownwing.solution.files import write_text
    from blownwing.study.optimum import shape_record
    from blownwing.study.place.confirmation import confirmed
    from blownwing.study.shape.search import searched

    problem = study.optimize
    if problem is None:
        raise ValueError("a shape search needs its table")
    with search_progress(console, "Searching") as progress:
        result = searched(study.base, problem, progress)
    check = confirmed(result, problem.objective)
    source = read_text(study.case_file)
    groups = shape_record(result, check)
    text = shape_text(result, prefix.parent, source)
    written = [
        write_text(prefix.with_name(f"{prefix.name}_optimum.toml"), text),
        write_shape(result, prefix.with_name(f"{prefix.name}_shape.csv")),
    ]
    return groups, shape_words(result, check, problem.objective), text, written


def _placement(study: Study, prefix: Path, console: Console) -> Optimum:
    from blownwing.case.reader import read_text
    from blownwing.report.placement_report import optimum_text, placement_words
    from blownwing.report.study_summary import search_progress
    from blownwing.solution.files import write_text
    from blownwing.study.optimum import placement_record
    from blownwing.study.place.confirmation import confirmed_placement
    from blownwing.study.place.search import best_placement
    from blownwing.study.place.spin_search import best_placement_and_spins

    problem = study.placement
    if problem is None:
        raise ValueError("a placement search needs its table")
    with search_progress(console, "Searching") as progress:
        search = best_placement_and_spins if problem.spins == "every" else best_placement
        result = search(study.base, problem, progress)
    with search_progress(console, "Confirming on a finer lattice") as progress:
        check = confirmed_placement(study.base, problem, result, progress)
    groups = placement_record(study.base, problem, result, check)
    text = optimum_text(study.base, result, prefix.parent, read_text(study.case_file))
    written = [write_text(prefix.with_name(f"{prefix.name}_optimum.toml"), text)]
    return groups, placement_words(study.base, result, check, problem), text, written
