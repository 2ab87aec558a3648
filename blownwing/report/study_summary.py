"""A study in the terminal: how many cases, the best ones, and effects of uncertain inputs."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

import numpy as np
from rich.console import Console
from rich.padding import Padding
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    TextColumn,
    TimeElapsedColumn,
    TimeRemainingColumn,
)
from rich.text import Text

from blownwing.report.assumed import study_notes
from blownwing.report.columns import digits, print_columns
from blownwing.report.compromises import HEADING, study_compromises
from blownwing.report.study_labels import (
    best_quantities,
    effect_cells,
    effect_words,
    main_quantities,
)
from blownwing.solution.model import CAUTION
from blownwing.study.model import SPINS
from blownwing.study.sweep.best_again import Again
from blownwing.study.sweep.ranking import ranked
from blownwing.study.sweep.table import StudyTable

_ROWS = 8


@contextmanager
def study_progress(console: Console) -> Iterator[Callable[[int, int, int], None] | None]:
    """Show a bar on a terminal; elsewhere nothing moves."""
    if not console.is_terminal:
        yield None
        return
    columns = (
        TextColumn("Solving"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[failed]}"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("cases", total=None, failed="")

        def show(finished: int, failed: int, total: int) -> None:
            note = f"{failed} failed" if failed else ""
            bar.update(task, completed=finished, total=total, failed=note)

        yield show


@contextmanager
def search_progress(console: Console, what: str) -> Iterator[Callable[[int], None] | None]:
    """Show how many cases or evaluations a search has done, on a terminal."""
    if not console.is_terminal:
        yield None
        return
    columns = (
        TextColumn(what),
        TextColumn("{task.completed:.0f} solved"),
        TimeElapsedColumn(),
    )
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task(what, total=None)
        yield lambda count: bar.update(task, completed=count)


def print_study(table: StudyTable, console: Console, rank_by: str, best: str) -> None:
    """Print the number of cases, the first ones in order, and for uncertainties their effects.

    Errors as for `study_notes` and `ranked`.
    """
    solved = int(table.solved.sum())
    console.print(Text(table.title or "Study", style="bold"))
    lattice = {
        "fixed": ", on one lattice",
        "following": ", lattices following the slipstreams",
        "aircraft": ", a whole aircraft each",
    }
    note = lattice.get(table.lattice, "")
    console.print(f"{solved} of {table.solved.size} cases solved{note}", soft_wrap=True)
    for note in study_notes(table):
        console.print(Text(note))
    failed = [text for text in table.messages if text]
    if failed:
        first = table.messages.index(failed[0])
        console.print(Text(f"{len(failed)} failed; the first, case {first}: {failed[0]}"))
    console.print()
    if table.summary:
        _print_effects(table, console)
    else:
        _print_best(table, rank_by, best, console)
    lines = study_compromises(table)
    if lines:
        console.print()
        console.print(Text(HEADING, style="bold"))
    for line in lines:
        console.print(Padding(Text(line), (0, 0, 0, 2)))
    console.print(Text(CAUTION, style="dim"))


def _print_best(table: StudyTable, rank_by: str, best: str, console: Console) -> None:
    order = ranked(table, rank_by, best)
    shown = dict.fromkeys((rank_by, *best_quantities(table)))
    names = [name for name in shown if name in table.results]
    heads = ["case", *map(_heading, table.parameters), *names]
    rows = []
    for case in order[:_ROWS]:
        given = [_text(values[case]) for values in table.parameters.values()]
        rows.append([str(case), *given, *(_text(table.results[name][case]) for name in names)])
    print_columns(console, heads, rows, f"{best} {rank_by}", left=())


def _print_effects(table: StudyTable, console: Console) -> None:
    more, words = effect_words(table)
    heads = ["quantity", "mean", "deviation", *map(_heading, table.parameters), *more]
    rows = []
    for name in main_quantities(table):
        if name not in table.summary:
            continue
        values = table.summary[name]
        mean, deviation = values["mean"], values["standard_deviation"]
        rows.append([name, _text(mean), _text(deviation), *effect_cells(table, values)])
    print_columns(console, heads, rows, f"Uncertain inputs: mean, standard deviation, {words}")


def print_confirmed(again: Sequence[Again], rank_by: str, best: str, console: Console) -> None:
    """Print the best cases of a sweep beside the same with slipstream edges, in the new order."""
    heads = ["case", f"{rank_by} in the sweep", f"{rank_by} with edges", "CL", "with edges"]
    rows = []
    for item in again:
        if item.solution is None:
            rows.append([str(item.case), _text(item.swept), item.failure, "", ""])
            continue
        found = item.solution.totals.get("CL")
        after = ["–" if v is None else _text(v) for v in (item.value, item.swept_CL, found)]
        rows.append([str(item.case), _text(item.swept), *after])
    title = f"The best again, with slipstream edges and the case's own lattice ({best} first)"
    print_columns(console, heads, rows, title, left=())


def _heading(key: str) -> str:
    """The end of a dotted key; spins are named by the side on which the blade goes up."""
    return "blade up on" if key == SPINS else key.removeprefix("propellers.").replace(".", " ")


def _text(value: object) -> str:
    if isinstance(value, str):
        return value.replace("board_up", "")
    number = float(np.asarray(value))
    return "–" if np.isnan(number) else digits(number)
