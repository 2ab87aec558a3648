"""Commands that choose: design-propeller, fit-propeller, sweep, optimize."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from blownwing.cli.base import (
    FigureFormat,
    Format,
    StudyFile,
    app,
    inputs_of,
    listed,
    new_console,
    result_name,
    sentences,
    ticking,
)
from blownwing.errors import InputError

if TYPE_CHECKING:
    from rich.console import Console

    from blownwing.solution.groups import Words
    from blownwing.solution.records import Group
    from blownwing.study.model import Study


@app.command()
def design_propeller(
    spec_file: Annotated[
        Path, typer.Argument(metavar="SPEC.toml", help="The propeller to design.")
    ],
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="FOLDER", help="Default: <spec>_propeller here."),
    ] = None,
    fmt: Format = None,
) -> None:
    """Design blades of minimum loss and for high lift: files, maps, figures, comparison."""
    with sentences():
        from blownwing.propeller.specification import (
            design_task,
            read_specification,
            specified_files,
        )
        from blownwing.report.propeller_comparison import blade_places, designed, found_files
        from blownwing.solution.files import check_outputs

        spec = read_specification(spec_file)
        folder = output if output is not None else Path(f"{spec_file.stem}_propeller")
        check_outputs(
            blade_places(folder) if folder.is_dir() else [],
            specified_files(spec, spec_file),
            folder,
        )
        task = design_task(spec, spec_file.parent, folder)

        from rich.text import Text

        from blownwing.report.propeller_figures import write_propeller_figures
        from blownwing.report.propeller_summary import print_products

        spec = found_files(spec, spec_file.parent)
        console = new_console()
        with ticking(console, "Searching the blade that lifts most") as tell:
            products, failure = designed(spec, task, folder, tell)
        figures = write_propeller_figures(
            products, spec.drive(), folder, (fmt or FigureFormat.png).value
        )
        print_products(spec, products, console)
        written = blade_places(folder, [product.design.kind for product in products])
        console.print()
        console.print(Text(f"Written: {listed(written + figures)}"), soft_wrap=True)
        if failure is not None:
            raise failure


@app.command()
def fit_propeller(
    blade_file: Annotated[
        Path, typer.Argument(metavar="BLADE.csv", help="Chord, twist and sections to start from.")
    ],
    table_file: Annotated[
        Path, typer.Argument(metavar="TABLE.csv", help="Measured J, CT, CP and rpm.")
    ],
    diameter: Annotated[str, typer.Option("--diameter", help='In m, or as "10 in".')],
    blades: Annotated[int, typer.Option("--blades", min=1, max=24, help="Number of blades.")],
    rpm: Annotated[
        float | None,
        typer.Option("--rpm", help="Fit the run nearest to it, keep the others for judgement."),
    ] = None,
    altitude: Annotated[
        str, typer.Option("--altitude", help='Of the measurement, in m or as "800 ft".')
    ] = "0 m",
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="FOLDER", help="Default: <blade>_fit here."),
    ] = None,
    fmt: Format = None,
) -> None:
    """Find a blade's section from measured thrust and power: files, residuals, figure."""
    with sentences():
        from blownwing.case.air import air_at
        from blownwing.propeller.blade import read_blade
        from blownwing.propeller.performance import read_performance
        from blownwing.propeller.section_fit import fitted_section, measured_points
        from blownwing.propeller.sources import blade_sections
        from blownwing.report.section_fit_report import fit_places
        from blownwing.solution.files import check_outputs

        folder = output if output is not None else Path(f"{blade_file.stem}_fit")
        size, height = _quantity("--diameter", diameter), _quantity("--altitude", altitude)
        if not size > 0.0:
            raise InputError(f"--diameter: found {diameter}; accepted is above 0")
        if rpm is not None and not rpm > 0.0:
            raise InputError(f"--rpm: found {rpm:g}; accepted is above 0")
        blade, table = read_blade(blade_file), read_performance(table_file)
        places = fit_places(blade, folder, (fmt or FigureFormat.png).value)
        inputs = [blade_file, table_file, *blade_sections(blade_file)]
        check_outputs(places if folder.is_dir() else [], inputs, folder)
        points = measured_points(table, blade)
        fit = fitted_section(blade, size, blades, air_at(height), points, rpm)

        from blownwing.report.figures import made_folder
        from blownwing.report.section_fit_report import print_fit, write_fit, write_fit_figure

        console = new_console()
        which = "all speeds" if rpm is None else f"{fit.used.rpm[0]:.0f} rpm"
        title = f"Section of {blade.name}, fitted to {table.name} at {which}"
        print_fit(fit, title, console)
        made_folder(folder)
        provenance = f"fitted to {table.name} at {which} ({table.source})"
        written = write_fit(fit, folder, provenance)
        place = folder / f"fit.{(fmt or FigureFormat.png).value}"
        written.append(write_fit_figure(fit, place, (fmt or FigureFormat.png).value))
        typer.echo(f"Written: {listed(written)}")


def _quantity(option: str, text: str) -> float:
    """A length as an option holds it: a bare number is in m."""
    from blownwing.case.units import length

    try:
        return length(float(text)) if _is_number(text) else length(text)
    except InputError as error:
        raise InputError(f"{option}: {error}") from None


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


@app.command()
def sweep(
    study_file: StudyFile,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="OUT.h5", help="Table; default: <study>.h5 here."),
    ] = None,
    figures: Annotated[
        bool, typer.Option("--figures", help="Write figures to <study>_figures beside the table.")
    ] = False,
    workers: Annotated[
        int | None, typer.Option("--workers", min=1, help="Processes; default: one per core.")
    ] = None,
    scheduler: Annotated[
        str | None, typer.Option("--scheduler", help="Address of a Dask scheduler to run on.")
    ] = None,
    restart: Annotated[
        bool, typer.Option("--restart", help="Forget the cases that an earlier run finished.")
    ] = False,
    edges: Annotated[
        int | None,
        typer.Option(
            "--edges", min=1, max=100, help="Solve so many of the best again with slipstream edges."
        ),
    ] = None,
    fmt: Format = None,
) -> None:
    """Run a study's cases; a run that broke off goes on where it stopped."""
    with sentences():
        if fmt is not None and not figures:
            raise InputError("--format: applies to figures; add --figures or leave it out")
        if workers is not None and scheduler is not None:
            raise InputError("--workers: does not apply with --scheduler; leave one out")
        from blownwing.study.reader import read_study

        study = read_study(study_file)
        if edges is not None and study.how[0] == "aircraft":
            raise InputError("--edges: found a study of whole aircraft; leave it out")
        target = result_name(output or Path(f"{study_file.stem}.h5"))
        folder = target.with_name(f"{study_file.stem}_figures")
        from blownwing.report.general_section import print_general_section
        from blownwing.report.study_summary import print_study, study_progress
        from blownwing.solution.files import check_outputs
        from blownwing.study.sweep.run import Options, companions, run_sweep

        # which cases are solved again is known afterwards; files that are there already tell
        again_places = [] if edges is None else list(target.parent.glob(f"{target.stem}_case_*.h5"))
        check_outputs(
            [target, *companions(target), *again_places],
            inputs_of(study.base, study_file, study.case_file),
            folder if figures else None,
        )
        console = new_console()
        with study_progress(console) as progress:
            table = run_sweep(study, target, Options(workers, scheduler, restart), progress)
        rank_by, best = study.ranking
        print_study(table, console, rank_by, best)
        print_general_section(study.base, console)
        written = [target, target.with_suffix(".csv")]
        if edges is not None:
            from blownwing.report.study_summary import print_confirmed, search_progress
            from blownwing.study.sweep.best_again import best_again

            with search_progress(console, "Solving the best with edges") as count:
                again = best_again(study, table, edges, count)
            console.print()
            print_confirmed(again, rank_by, best, console)
            for item in again:
                if item.solution is not None:
                    place = target.with_name(f"{target.stem}_case_{item.case}.h5")
                    written.append(item.solution.save(place))
        if figures:
            from blownwing.report.study_figures import write_study_figures

            written += write_study_figures(
                table, folder, rank_by, best, (fmt or FigureFormat.png).value
            )
        typer.echo(f"Written: {listed(written)}")


@app.command()
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


@app.command()
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
        if fmt is not None and not figures:
            raise InputError("--format: applies to figures; add --figures or leave it out")
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
