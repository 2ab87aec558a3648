"""The order of a study's cases by one of its quantities."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blownwing.case.messages import did_you_mean
from blownwing.errors import InputError
from blownwing.study.sweep.table import StudyTable


def ranked(table: StudyTable, name: str, best: str) -> NDArray[np.int64]:
    """Numbers of the cases that have the quantity, best first; equal ones in their own order.

    Args:
        table: of the study.
        name: a result.
        best: "largest" or "least".

    Raises:
        InputError: the study has no such result.
    """
    if name not in table.results:
        raise InputError(
            f'rank_by: found "{name}"{did_you_mean(name, table.results)}; accepted are '
            f"{', '.join(table.results)}"
        )
    values = table.results[name]
    with_value = np.flatnonzero(table.solved & ~np.isnan(values))
    sign = -1.0 if best == "largest" else 1.0
    return with_value[np.argsort(sign * values[with_value], kind="stable")]
