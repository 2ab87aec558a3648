"""Study tests run small cases on one thread, as the studies themselves do."""

import pytest

from blownwing.study.threads import few_threads


@pytest.fixture(autouse=True)
def one_thread():
    with few_threads(0):
        yield
