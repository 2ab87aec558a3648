"""Calculations in processes beside this one: same results, same errors, nothing lost."""

from __future__ import annotations

import os
import time

import pytest

from blownwing.errors import InputError, SolveError
from blownwing.study.sweep.executor import beside

_BEGUN = 1.0  # s, after which a process has been given what is asked of it


def test_without_processes_all_is_done_here_when_it_is_asked_for():
    with beside(0) as later:
        assert later(os.getpid)() == os.getpid()


def test_results_and_errors_come_back_and_a_dead_process_is_told():
    with beside(1) as later:
        first, wrong, many = later(os.getpid), later(_refused), [later(abs, -k) for k in range(9)]
        time.sleep(_BEGUN)
        assert first() != os.getpid()
        with pytest.raises(InputError, match="found nothing"):
            wrong()
        assert [one() for one in many] == list(range(9))
        lost = later(os._exit, 1)
        time.sleep(_BEGUN)
        with pytest.raises(SolveError, match="a worker process died"):
            lost()


def _refused():
    raise InputError("found nothing")
