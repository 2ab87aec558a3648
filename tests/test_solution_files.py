"""Saved solutions: equal when read back, self-describing, complete or absent, and never trusted."""

from __future__ import annotations

import csv
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import h5py
import numpy as np
import pytest
import xarray as xr
from report.sample import polar, single

import blownwing
from blownwing.errors import InputError, SolveError
from blownwing.solution import CAUTION, VARIABLES, Solution, export_csv, records


@pytest.fixture(scope="module")
def saved(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return single().save(tmp_path_factory.mktemp("saved") / "one.h5")


@pytest.fixture(scope="module")
def saved_polar(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return polar().save(tmp_path_factory.mktemp("saved") / "polar.h5")


@pytest.mark.parametrize("make", [single, polar])
def test_round_trip_is_exact(make: object, tmp_path: Path) -> None:
    solution = make()  # type: ignore[operator]
    path = solution.save(tmp_path / "out.h5")
    assert blownwing.load(path) == solution
    assert [p.name for p in tmp_path.iterdir()] == ["out.h5"]


def test_round_trip_of_a_wing_without_propellers_and_long_text(tmp_path: Path) -> None:
    bare = replace(single(), propellers={}, slipstreams={}, case_toml="# ä€\n" * 40_000)
    assert blownwing.load(bare.save(tmp_path / "bare.h5")) == bare


def test_file_has_the_permissions_of_any_new_file(saved: Path, tmp_path: Path) -> None:
    (tmp_path / "plain").touch()
    assert saved.stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_root_attributes(saved: Path) -> None:
    with h5py.File(saved) as file:
        attributes = dict(file.attrs)
    assert (attributes["kind"], attributes["schema_version"]) == ("result", 3)
    assert attributes["caution"] == CAUTION
    assert attributes["blownwing_version"] == blownwing.__version__
    assert attributes["title"] == "Sample wing with eight propellers"
    assert attributes["case_toml"].startswith("title = ")


GROUPS = {
    "totals": "totals",
    "strips": "strips",
    "propellers/inner": "propellers",
    "propellers/outer_port": "propellers",
    "slipstreams/third": "slipstreams",
}


@pytest.mark.parametrize(("group", "kind"), [*GROUPS.items(), ("convergence", "convergence")])
def test_xarray_opens_each_group(saved: Path, group: str, kind: str) -> None:
    with xr.open_dataset(saved, group=group, engine="h5netcdf") as data:
        assert len(data.variables) >= 4
        for name, found in data.variables.items():
            variable = VARIABLES[kind][str(name)]
            assert found.dims == (() if variable.dim is None else (variable.dim,))
            assert found.attrs["units"] == variable.units
            assert found.attrs["long_name"] == variable.long_name


@pytest.mark.parametrize(("group", "kind"), GROUPS.items())
def test_xarray_opens_each_group_of_a_polar(saved_polar: Path, group: str, kind: str) -> None:
    with xr.open_dataset(saved_polar, group=group, engine="h5netcdf") as data:
        np.testing.assert_array_equal(data["flow_alpha"], [0.0, 4.0, 8.0])
        assert data["flow_alpha"].attrs["units"] == "deg"
        for name, found in data.data_vars.items():
            variable = VARIABLES[kind][str(name)]
            lead = ("flow_alpha",) if variable.per_alpha else ()
            assert found.dims == lead + (() if variable.dim is None else (variable.dim,))
    with xr.open_dataset(saved_polar, group="convergence/alpha_02", engine="h5netcdf") as data:
        assert data["flow_alpha"] == 8.0
        assert data["residual"].dims == ("iteration",)
    with xr.open_dataset(saved_polar, group="strips", engine="h5netcdf") as data:
        at_four = data["cl"].sel(flow_alpha=4.0)
        np.testing.assert_array_equal(at_four, single(4.0).strips["cl"])


def test_every_group_has_an_answer_to_what_are_you(saved: Path) -> None:
    unexplained: list[str] = []

    def look(name: str, item: object) -> None:
        if isinstance(item, h5py.Dataset) and not {"units", "long_name"} <= set(item.attrs):
            unexplained.append(name)

    with h5py.File(saved) as file:
        file.visititems(look)
    assert unexplained == []


# --- complete or absent ------------------------------------------------------------------------


@pytest.mark.parametrize("error", [RuntimeError("half way"), KeyboardInterrupt()])
def test_failure_while_writing_leaves_the_old_file(
    error: BaseException, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = single(1.0)
    path = old.save(tmp_path / "out.h5")
    write_group = records._write_group

    def fail_later(file: object, where: str, *rest: object) -> object:
        if where.startswith("slipstreams"):
            raise error
        return write_group(file, where, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(records, "_write_group", fail_later)
    with pytest.raises(type(error)):
        single(9.0).save(path)
    assert [p.name for p in tmp_path.iterdir()] == ["out.h5"]
    assert blownwing.load(path) == old


def test_a_full_disk_is_said_and_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(SolveError, match=r"out\.h5: could not be written \(No space left"):
        single().save(tmp_path / "out.h5")
    assert list(tmp_path.iterdir()) == []


KILLED = """
import os, signal, sys
sys.path.insert(0, sys.argv[2])
from report.sample import single
from blownwing.solution import records
write_group = records._write_group
def kill_later(file, where, *rest):
    if where == sys.argv[3]:
        file.flush()
        os.kill(os.getpid(), signal.SIGKILL)
    return write_group(file, where, *rest)
records._write_group = kill_later
single(9.0).save(sys.argv[1])
"""


@pytest.mark.parametrize("where", ["strips", "convergence"])
def test_a_killed_save_leaves_the_old_file(where: str, tmp_path: Path) -> None:
    old = single(1.0)
    path = old.save(tmp_path / "out.h5")
    here = str(Path(__file__).parent)
    run = subprocess.run([sys.executable, "-c", KILLED, str(path), here, where], timeout=60)
    assert run.returncode == -signal.SIGKILL
    assert blownwing.load(path) == old


def test_a_save_killed_at_any_moment_leaves_a_whole_file(tmp_path: Path) -> None:
    loop = (
        "import sys; sys.path.insert(0, sys.argv[2])\n"
        "from report.sample import single\n"
        "one, two = single(1.0), single(2.0)\n"
        "print('go', flush=True)\n"
        "while True:\n    one.save(sys.argv[1]); two.save(sys.argv[1])\n"
    )
    path = single(1.0).save(tmp_path / "out.h5")
    here = str(Path(__file__).parent)
    for wait in (0.011, 0.037, 0.053):
        with subprocess.Popen(
            [sys.executable, "-c", loop, str(path), here], stdout=subprocess.PIPE
        ) as process:
            if process.stdout is None:
                pytest.fail("the writer has no output to wait for")
            process.stdout.readline()
            time.sleep(wait)
            process.kill()
        assert blownwing.load(path).totals["alpha"] in (1.0, 2.0)


def test_places_that_cannot_be_written(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such folder"):
        single().save(tmp_path / "missing" / "out.h5")
    with pytest.raises(InputError, match="is a folder"):
        single().save(tmp_path)
    (tmp_path / "file").touch()
    with pytest.raises(InputError, match="is a file, not a folder"):
        single().save(tmp_path / "file" / "out.h5")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_without_permission(tmp_path: Path) -> None:
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o500)
    with pytest.raises(InputError, match="no permission"):
        single().save(locked / "out.h5")


# --- files that are not results ----------------------------------------------------------------


def refusal(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        blownwing.load(path)
    message = str(caught.value)
    assert str(path) in message and "\n" not in message
    return message


def test_truncated_files_are_refused(saved: Path, tmp_path: Path) -> None:
    whole = saved.read_bytes()
    path = tmp_path / "cut.h5"
    few = [0, 1, 4, 7, 8, 9, 40, 95, 96, 97, 512, 800, 2048, len(whole) - 1, len(whole) - 512]
    for length in few + list(range(1000, len(whole) - 1, len(whole) // 40)):
        path.write_bytes(whole[:length])
        refusal(path)


def test_missing_folder_and_foreign_files(saved: Path, tmp_path: Path) -> None:
    assert "no such result" in refusal(tmp_path / "none.h5")
    assert "is a folder" in refusal(tmp_path)
    text = tmp_path / "text.h5"
    text.write_text("title = 'not a result'\n")
    assert "not an HDF5 file" in refusal(text)
    with h5py.File(tmp_path / "other.h5", "w") as file:
        file["something"] = 1.0
    assert "no schema_version" in refusal(tmp_path / "other.h5")


def test_a_file_of_the_first_schema_is_read_with_the_names_of_today(tmp_path: Path) -> None:
    one = single()
    path = one.save(tmp_path / "old.h5")
    with h5py.File(path, "r+") as file:
        file.attrs["schema_version"] = 1
        for new, old in (("C_roll", "Cl"), ("C_pitch", "Cm"), ("C_yaw", "Cn")):
            file["totals"].move(new, old)
    assert blownwing.load(path) == one


def damaged(source: Path, target: Path, change: object) -> Path:
    target.write_bytes(source.read_bytes())
    with h5py.File(target, "r+") as file:
        change(file)  # type: ignore[operator]
    return target


def _put(where: str, value: object) -> object:
    def change(file: h5py.File) -> None:
        if where in file:
            del file[where]
        if value is not None:
            file[where] = value

    return change


@pytest.mark.parametrize(
    ("change", "fragment"),
    [
        (
            lambda f: f.attrs.__setitem__("schema_version", 99),
            "schema_version 99, this version reads 1 to 3",
        ),
        (lambda f: f.attrs.__setitem__("schema_version", [1, 1]), "schema_version"),
        (lambda f: f.attrs.__setitem__("schema_version", "new"), "schema_version new"),
        (lambda f: f.attrs.__delitem__("case_toml"), "'case_toml' is missing"),
        (lambda f: f.attrs.__setitem__("title", 3.0), "'title' is missing or not text"),
        (_put("totals", None), "group /totals is missing"),
        (_put("convergence", None), "group /convergence is missing"),
        (_put("propellers", 1.0), "group /propellers is missing"),
        (_put("propellers/inner", 1.0), "group /propellers/inner is missing"),
        (_put("totals/lift", None), "'lift' is missing"),
        (_put("totals/surprise", 1.0), "unknown variable 'surprise'"),
        (_put("totals/CL", np.nan), "totals/CL is not finite"),
        (_put("totals/CL", b"text"), "damaged"),
        (_put("strips/cl", np.zeros(5)), "strips/cl has the shape"),
    ],
)
def test_incomplete_files_are_refused(
    change: object, fragment: str, saved: Path, tmp_path: Path
) -> None:
    assert fragment in refusal(damaged(saved, tmp_path / "bad.h5", change))


def test_polar_without_one_history_is_refused(saved_polar: Path, tmp_path: Path) -> None:
    bad = damaged(saved_polar, tmp_path / "bad.h5", _put("convergence/alpha_01", None))
    assert "alpha_01" in refusal(bad)


# --- tables ------------------------------------------------------------------------------------


def rows_of(path: Path) -> tuple[list[str], np.ndarray]:
    with path.open(newline="") as stream:
        header, *rows = csv.reader(stream)
    return header, np.array(rows, dtype=float)


def test_tables_hold_every_strip_and_annulus(tmp_path: Path) -> None:
    solution: Solution = single()
    written = export_csv(solution, tmp_path / "wing")
    assert {p.name for p in written} == {p.name for p in tmp_path.iterdir()}
    assert len(written) == 1 + 8
    header, rows = rows_of(tmp_path / "wing_strips.csv")
    assert header[0] == "y [m]" and "circulation [m2/s]" in header
    np.testing.assert_array_equal(rows[:, header.index("cl [1]")], solution.strips["cl"])
    header, rows = rows_of(tmp_path / "wing_propeller_inner.csv")
    assert header[0] == "r [m]"
    np.testing.assert_array_equal(
        rows[:, header.index("dT_dr [N/m]")], solution.propellers["inner"]["dT_dr"]
    )


def test_tables_of_a_polar_lead_with_the_angle(tmp_path: Path) -> None:
    solution = polar()
    export_csv(solution, tmp_path / "wing")
    header, rows = rows_of(tmp_path / "wing_strips.csv")
    assert header[0] == "flow_alpha [deg]"
    assert rows.shape == (3 * 64, len(header))
    eight = rows[rows[:, 0] == 8.0]
    np.testing.assert_array_equal(eight[:, header.index("cl [1]")], solution.strips["cl"][2])


def test_discs_without_radial_loads_get_no_table(tmp_path: Path) -> None:
    solution = replace(single(), propellers={"ideal": {"thrust": 1.0, "power": 1.0}})
    assert [p.name for p in export_csv(solution, tmp_path / "a")] == ["a_strips.csv"]
