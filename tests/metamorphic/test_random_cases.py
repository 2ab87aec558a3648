"""Random cases: each has a finite result or one sentence, and results obey energy and momentum."""

import time
from collections import Counter

import numpy as np
import pytest
from random_cases import random_tables

from blownwing import Case, InputError, SolveError, solve

pytestmark = pytest.mark.slow
EACH = 60
SLOWEST = 60.0  # s, of one case on a busy machine


def finite(solution):
    groups = [solution.totals, solution.strips, *solution.propellers.values(),
              *solution.slipstreams.values(), solution.convergence]  # fmt: skip
    return all(np.all(np.isfinite(value)) for group in groups for value in group.values())


def energy_holds(solution, speed):
    """No propeller's forces do more work on the flight than its shaft gives."""
    for values in solution.propellers.values():
        if values["power"] <= 0.0:
            continue
        angle = np.radians(values.get("inflow_angle", 0.0))
        across = np.hypot(values.get("normal_force", 0.0), values.get("side_force", 0.0))
        # the stream that meets the disc, axial part taken as the flight speed
        work = (values["thrust"] * np.cos(angle) - across * np.sin(abs(angle))) * speed
        assert work <= values["power"] * (1.0 + 1e-6), (work, values["power"])


@pytest.mark.parametrize("block", range(6))
def test_random_cases(block):
    outcomes, slowest = Counter(), 0.0
    for seed in range(10_000 + block * EACH, 10_000 + (block + 1) * EACH):
        tables = random_tables(seed, symmetric=seed % 4 != 0)
        start = time.perf_counter()
        try:
            case = Case.from_tables(tables)
            found = solve(case)
        except (InputError, SolveError) as error:
            assert str(error) and "\n" not in str(error)
            outcomes[type(error).__name__] += 1
            continue
        finally:
            slowest = max(slowest, time.perf_counter() - start)
        outcomes["solved"] += 1
        assert finite(found), seed
        energy_holds(found, case.flow.airspeed)
        near, far = (found.totals[f"CD_induced{end}_unblown"] for end in ("", "_farfield"))
        assert far >= -1e-12, seed
        # the same work in two planes; bar for lattices of 8 to 16 strips a half
        assert abs(near - far) <= 0.02 * far + 2e-4, (seed, near, far)
    print(f"{dict(outcomes)}, slowest {slowest:.1f} s")
    assert outcomes["solved"] > 0.4 * EACH and slowest < SLOWEST
