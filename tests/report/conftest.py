"""Makes the made-up solution of ``sample.py`` available to the tests of this folder."""

from __future__ import annotations

import pytest
from sample import polar, single

from blownwing.solution import Solution


@pytest.fixture(scope="session")
def one() -> Solution:
    return single()


@pytest.fixture(scope="session")
def several() -> Solution:
    return polar()
