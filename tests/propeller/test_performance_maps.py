"""Performance maps: fast, as accurate as they say, stored, read back, reused only if the same."""

import math
import time
from dataclasses import replace
from pathlib import Path

import h5py
import numpy as np
import pytest
import xarray
from numpy.testing import assert_allclose

from blownwing.case.air import air_at
from blownwing.errors import InputError
from blownwing.propeller.blade import read_blade
from blownwing.propeller.map import interpolated, map_grid, map_key, performance_map
from blownwing.propeller.rotor import axial_inflow, build_rotor, coefficients, solve_rotor
from blownwing.solution.map_files import load_map, save_map

BLADES = Path(__file__).parents[2] / "shared" / "blades"
ROTOR = build_rotor(read_blade(BLADES / "high_lift_5.csv"), 0.8, 5)
AIR = air_at()
OMEGA = 366.0
GRID = map_grid()


@pytest.fixture(scope="module")
def table():
    return performance_map(ROTOR, AIR, OMEGA, *GRID)


def test_forty_by_twenty_in_half_a_second(table):
    assert table.thrust.shape == (20, 40)
    times = []
    for _ in range(3):
        start = time.perf_counter()
        performance_map(ROTOR, AIR, OMEGA, *GRID)
        times.append(time.perf_counter() - start)
    print(f"40 x 20 map with its error: {min(times):.3f} s")
    assert min(times) <= 0.5


def test_grid_points_are_the_solver_s(table):
    for i, k in ((0, 0), (7, 20), (19, 39), (3, 39)):
        speed = float(table.advance_ratio[k]) * OMEGA / (2.0 * math.pi) * 0.8
        loads = solve_rotor(
            ROTOR, AIR, OMEGA, float(table.pitch[i]), "clockwise", axial_inflow(ROTOR, speed)
        )
        wanted = coefficients(ROTOR, AIR, loads, speed)
        assert_allclose(table.thrust[i, k], wanted.thrust, rtol=1e-9)
        assert_allclose(table.power[i, k], wanted.power, rtol=1e-9)
        read = table.coefficients(table.advance_ratio[k], table.pitch[i])
        assert_allclose(read, (wanted.thrust, wanted.power), rtol=1e-9)
        if wanted.thrust > 0.0:
            assert_allclose(table.efficiency[i, k], wanted.efficiency, rtol=1e-9)
        else:
            assert table.efficiency[i, k] == 0.0


def test_the_stored_error_is_the_error(table):
    # random points, not the ones the error was measured at
    rng = np.random.default_rng(17)
    errors = []
    for _ in range(300):
        j, pitch = rng.uniform(0.0, 1.2), rng.uniform(*GRID[1][[0, -1]])
        speed = j * OMEGA / (2.0 * math.pi) * 0.8
        loads = solve_rotor(ROTOR, AIR, OMEGA, pitch, "clockwise", axial_inflow(ROTOR, speed))
        exact = coefficients(ROTOR, AIR, loads, speed)
        ct, cp = table.coefficients(j, pitch)
        errors.append((abs(ct - exact.thrust), abs(cp - exact.power)))
    worst, rms = np.max(errors, axis=0), np.sqrt(np.mean(np.square(errors), axis=0))
    for k, stored in enumerate((table.thrust_error, table.power_error)):
        assert worst[k] <= 1.5 * stored[0]
        assert 0.4 * stored[1] < rms[k] < 1.5 * stored[1]
    assert table.thrust_error[0] < 0.006 * table.thrust.max()
    finer = performance_map(ROTOR, AIR, OMEGA, *map_grid(n_advance=79, n_pitch=39))
    assert finer.thrust_error[1] < 0.5 * table.thrust_error[1]


def test_interpolation_is_exact_for_cubics():
    rows, columns = np.linspace(-1.0, 2.0, 9), np.array([0.0, 0.3, 0.5, 1.0, 1.4, 2.0])

    def f(x, y):
        return 1.0 + 2.0 * x - x**3 + y**2 * x**2 - 0.5 * y**3

    values = f(rows[:, None], columns[None, :])[None]
    rng = np.random.default_rng(1)
    x, y = rng.uniform(-1.0, 2.0, 50), rng.uniform(0.0, 2.0, 50)
    assert_allclose(interpolated(rows, columns, values, x, y)[0], f(x, y), atol=1e-12)


def test_outside_the_map_is_refused(table):
    for j, pitch in ((1.3, 0.0), (-0.1, 0.0), (0.5, 0.5), (np.nan, 0.0)):
        with pytest.raises(InputError, match="performance map: found"):
            table.coefficients(j, pitch)
    with pytest.raises(InputError, match="rising"):
        map_grid((0.5, 0.2))
    with pytest.raises(InputError, match="4 or more"):
        map_grid(n_pitch=2)
    with pytest.raises(InputError, match="omega"):
        performance_map(ROTOR, AIR, 0.0, *GRID)


def test_file_reads_back_and_describes_itself(table, tmp_path):
    path = save_map(table, tmp_path / "map.h5", "a title")
    back = load_map(path)
    for name in ("advance_ratio", "thrust", "power"):
        assert np.array_equal(getattr(back, name), getattr(table, name))
    assert_allclose(back.pitch, table.pitch, atol=1e-15)
    assert (back.thrust_error, back.power_error) == (table.thrust_error, table.power_error)
    assert (back.key, back.blades) == (table.key, 5)
    with h5py.File(path) as file:
        assert all({"units", "long_name"} <= set(item.attrs) for item in file.values())
        assert "not for flight clearance" in file.attrs["caution"]
    with xarray.open_dataset(path, engine="h5netcdf") as data:
        assert data["efficiency"].dims == ("pitch", "advance_ratio")
        assert_allclose(data["pitch"].values[[0, -1]], [-10.0, 20.0])


def test_a_map_s_key_is_that_of_its_rotor_air_speed_and_grid():
    small = map_grid(n_advance=6, n_pitch=5)
    first = performance_map(ROTOR, AIR, OMEGA, *small)
    assert map_key(ROTOR, AIR, OMEGA, *small) == first.key
    for rotor, air, omega in (
        (ROTOR, air_at(2000.0), OMEGA),
        (ROTOR, AIR, OMEGA + 1.0),
        (build_rotor(read_blade(BLADES / "high_lift_5.csv"), 0.8, 4), AIR, OMEGA),
    ):
        assert map_key(rotor, air, omega, *small) != first.key


@pytest.mark.parametrize("content", [b"", b"text", b"\x89HDF\r\n\x1a\nbroken"])
def test_files_that_are_no_maps_are_refused(content, tmp_path):
    path = tmp_path / "map.h5"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"map\.h5"):
        load_map(path)


def test_foreign_and_damaged_maps_are_refused(table, tmp_path):
    with pytest.raises(InputError, match="no such"):
        load_map(tmp_path / "none.h5")
    path = save_map(table, tmp_path / "map.h5")
    with h5py.File(path, "r+") as file:
        del file["power_coefficient"]
    with pytest.raises(InputError, match="incomplete"):
        load_map(path)
    save_map(replace(table, thrust=np.full((20, 40), np.nan)), path)
    with pytest.raises(InputError, match="not finite"):
        load_map(path)
    with h5py.File(tmp_path / "other.h5", "w") as file:
        file.attrs["schema"] = "something"
    with pytest.raises(InputError, match="no schema_version"):
        load_map(tmp_path / "other.h5")
