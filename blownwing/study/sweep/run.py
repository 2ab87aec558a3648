"""A sweep from its plan to its finished table, resumable at any moment."""

from __future__ import annotations

import json
import pickle
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from blownwing.errors import InputError, SolveError
from blownwing.solution.model import now
from blownwing.study.model import Study
from blownwing.study.runner import used_lattice
from blownwing.study.sweep.executor import Done, cluster_runs, local_runs
from blownwing.study.sweep.expansion import propagated_expansion
from blownwing.study.sweep.identity import changed, digest, file_digests, identity, program
from blownwing.study.sweep.journal import Journal, Outcome
from blownwing.study.sweep.plan import Plan, planned
from blownwing.study.sweep.table import StudyTable, load_table, save_csv, save_table
from blownwing.study.sweep.uncertainty import propagated

Progress = Callable[[int, int, int], None]


@dataclass(frozen=True)
class Options:
    """Where and how a sweep runs."""

    workers: int | None = None  # processes of this machine; None: one per core
    scheduler: str | None = None  # address of a Dask scheduler instead
    restart: bool = False  # forget what an earlier run finished


def journal_path(output: Path) -> Path:
    """The journal beside a study's output."""
    return output.with_suffix(".journal")


def companions(output: Path) -> list[Path]:
    """The other files that a sweep makes beside its output."""
    return [output.with_suffix(".csv"), journal_path(output)]


def run_sweep(
    study: Study, output: Path, options: Options, progress: Progress | None = None
) -> StudyTable:
    """Run what is left of a study, write its table as HDF5 and CSV, and return it.

    Args:
        study: as `read_study` returns it.
        output: the HDF5 file; the CSV and, until the study is finished, the journal lie beside it.
        options: where the cases run.
        progress: called with (finished, failed, all) cases.

    Raises:
        InputError: the study cannot be planned, or files of another study are in the way.
        SolveError: not a single case could be solved, or the run broke off.
    """
    plan = planned(study)
    parts = identity(study, plan)
    path = journal_path(output)
    table = _finished(output)
    if options.restart:
        path.unlink(missing_ok=True)
    elif table is not None:
        _check_unchanged(output, table, parts)
        path.unlink(missing_ok=True)
        if not output.with_suffix(".csv").exists():
            save_csv(table, output.with_suffix(".csv"))
        return table
    with Journal(path, parts, now()) as journal:
        try:
            _run(study, plan, journal, options, progress)
        except (InputError, SolveError):
            if not journal.outcomes:
                journal.remove()  # nothing to go on with
            raise
        _check_files(study, parts)
        table = _table(study, plan, journal, parts)
        if not table.solved.any():
            journal.remove()
            raise SolveError(
                f"none of the {len(plan.rows)} cases could be solved; the first says: "
                f"{table.messages[0]}"
            )
        save_csv(table, output.with_suffix(".csv"))
        save_table(table, output)
        journal.remove()
    return table


def _finished(output: Path) -> StudyTable | None:
    """The table that an earlier run completed, if one did."""
    if not output.is_file():
        return None
    try:
        return load_table(output)
    except InputError as error:
        raise InputError(f"{error}; it is not replaced: give another name or delete it") from None


def _check_unchanged(output: Path, table: StudyTable, parts: Mapping[str, str]) -> None:
    """Raise InputError if a finished table is of another study or other inputs."""
    if not table.identity:
        raise InputError(
            f"{output}: does not say of which inputs it is; start over with --restart or give "
            "another output name"
        )
    if table.digest != digest(parts):
        raise InputError(
            f"{output}: holds results from before a change of: "
            f"{changed(table.identity, parts)}; start over with --restart or give another output "
            "name"
        )


def _check_files(study: Study, parts: Mapping[str, str]) -> None:
    """Raise SolveError if an input changed while the study ran: rows could be of either."""
    found = file_digests(study.base)
    moved = [name for name, value in found.items() if parts.get(name) != value]
    if moved:
        raise SolveError(
            f"{', '.join(moved)} changed while the study ran; start over with --restart"
        )


def _run(
    study: Study, plan: Plan, journal: Journal, options: Options, progress: Progress | None
) -> None:
    total = len(plan.rows)
    base = study.base
    tasks = [(i, plan.edits(base, i)) for i in range(total) if i not in journal.outcomes]
    failed = sum(outcome.failure is not None for outcome in journal.outcomes.values())
    if progress is not None:
        progress(total - len(tasks), failed, total)
    if not tasks:
        return
    payload = pickle.dumps((base, study.how, program() | file_digests(base)))
    runs: Iterator[Done]
    if options.scheduler is not None:
        runs = cluster_runs(payload, tasks, options.scheduler)
    else:
        runs = local_runs(payload, tasks, options.workers)
    for done in runs:
        journal.add(done)
        failed += sum(outcome.failure is not None for _, outcome in done)
        if progress is not None:
            progress(len(journal.outcomes), failed, total)


def _table(study: Study, plan: Plan, journal: Journal, parts: Mapping[str, str]) -> StudyTable:
    outcomes = [journal.outcomes[index] for index in range(len(plan.rows))]
    parameters = {key: _values(plan, column) for column, key in enumerate(plan.keys)}
    method = "" if study.sweep is None else study.sweep.method
    table = StudyTable(
        title=study.title or study.base.title,
        created=journal.created,
        study_toml=study.text,
        case_toml=study.base.to_toml(),
        digest=digest(parts),
        identity=parts,
        method=method,
        parameters=parameters,
        results=_results(outcomes),
        messages=tuple(outcome.failure or "" for outcome in outcomes),
        shape=plan.shape,
        lattice=used_lattice(study.base, study.how[0]),
    )
    if study.sweep is not None and method == "expansion":
        return propagated_expansion(table, study.sweep.parameters)
    return propagated(table, len(plan.keys)) if method == "uncertainty" else table


def _values(plan: Plan, column: int) -> Any:
    """A parameter's column: numbers as an array, anything else as text."""
    values = [row[column] for row in plan.rows]
    if all(isinstance(v, int | float) and not isinstance(v, bool) for v in values):
        return np.array(values, dtype=float)
    return [v if isinstance(v, str) else json.dumps(v) for v in values]


def _results(outcomes: list[Outcome]) -> dict[str, np.ndarray[Any, np.dtype[np.float64]]]:
    names: dict[str, None] = {}
    for outcome in outcomes:
        names |= dict.fromkeys(outcome.values or ())
    columns = {name: np.full(len(outcomes), np.nan) for name in names}
    for index, outcome in enumerate(outcomes):
        for name, value in (outcome.values or {}).items():
            columns[name][index] = value
    return columns
