"""Study files: TOML in, a validated `Study` with its case or one clear sentence out."""

from __future__ import annotations

import os
from pathlib import Path

from pydantic import ValidationError

from blownwing.case.lines import key_lines, line_of
from blownwing.case.messages import Path as KeyPath
from blownwing.case.messages import faults, one_sentence
from blownwing.case.reader import parse_toml, read_case, read_text
from blownwing.errors import InputError
from blownwing.study.model import Study, flat_edits


def read_study(path: str | os.PathLike[str]) -> Study:
    """A study from a TOML file, with the case it names, edits done.

    Args:
        path: the study file; the case's name in it starts at its folder.

    Raises:
        InputError: for the first broken rule of study, case or edits.
    """
    text = read_text(path)
    tables = parse_toml(text, str(path))
    if "wing" in tables and "case" not in tables:
        raise InputError(
            f"{path}: this is a case; accepted here is a study, and a case is solved by "
            f"'blownwing solve {path}'"
        )
    try:
        study = Study.model_validate(tables)
    except ValidationError as error:
        broken = faults(error, Study)
        raise InputError(one_sentence(broken, _where(str(path), text, broken[0][0]))) from None
    folder = Path(path).parent
    base = read_case(folder / study.case)
    edits = flat_edits(study.edits)
    try:
        base = base.replace(**edits)
    except InputError as error:
        raise InputError(f"{_where(str(path), text, ('edits',))}: edits: {error}") from None
    if isinstance(base.flow.alpha, tuple):
        raise InputError(
            f"{path}: the case has a list of {len(base.flow.alpha)} angles in flow.alpha; accepted "
            'in a study is one angle (edits) or the key "flow.alpha" as a parameter'
        )
    return study.with_source(base, text, folder)


def _where(name: str, text: str, path: KeyPath) -> str:
    line = line_of(path, key_lines(text))
    return name if line is None else f"{name}, line {line}"
