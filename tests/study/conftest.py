"""Study tests run small cases on one thread, as the studies themselves do."""

import pytest

from blownwing.kernels.threads import threads_for


@pytest.fixture(autouse=True)
def one_thread():
    with threads_for(0):
        yield
