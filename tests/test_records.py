"""The one record form: round trips, units written alike, files of every earlier version read.

The files in `earlier_files` were written by the version before the kinds shared one number.
"""

import re
from pathlib import Path

import h5py
import numpy as np
import pytest
import xarray
from numpy.testing import assert_allclose, assert_array_equal
from report.sample import polar

import blownwing
from blownwing.aircraft import records as aircraft_records
from blownwing.aircraft.scalars import VARIABLES as AIRCRAFT
from blownwing.errors import InputError, SolveError
from blownwing.solution.groups import Words, words_of
from blownwing.solution.map_files import load_map, save_map
from blownwing.solution.records import (
    SCHEMA_VERSION,
    Quantity,
    finite,
    heading,
    kind_of,
    read_records,
    write_records,
)
from blownwing.solution.variables import OF_ITS_TOTAL, VARIABLES
from blownwing.study.sweep.table import load_table, save_table

EARLIER = Path(__file__).parent / "earlier_files"
GROUPS = {
    "": {"whole": Quantity(3.0, "m", "of the root")},
    "grid": {
        "field": Quantity(np.arange(6.0).reshape(2, 3), "Pa", "a field", ("time", "place")),
        "time": Quantity(np.array([0.0, 1.0]), "s", "time", ("time",)),
        "place": Quantity(np.array([1.0, 2.0, 3.0]), "m", "place", ("place",)),
    },
    "deep/inside/here": {"words": Quantity(["a", "ä €"], "", "texts", ("words",))},
    "deep": {"gap": Quantity(np.array([1.0, np.nan]), "1", "with a hole", ("gap",))},
}


def test_what_is_written_is_read(tmp_path):
    path = write_records(tmp_path / "out.h5", "aircraft", GROUPS, {"title": "A title"})
    found = read_records(path)
    assert (found.kind, found.version, found.text("title")) == (
        "aircraft",
        SCHEMA_VERSION,
        "A title",
    )
    assert set(found.groups) == set(GROUPS)
    for place, group in GROUPS.items():
        assert set(found.groups[place]) == set(group)
        for name, quantity in group.items():
            back = found.groups[place][name]
            assert_array_equal(back.value, quantity.value)
            assert (back.units, back.long_name) == (quantity.units, quantity.long_name)
            assert back.over == quantity.over
    with xarray.open_dataset(path, group="grid", engine="h5netcdf") as data:
        assert data["field"].dims == ("time", "place")
        assert data["field"].attrs["units"] == "Pa"


def test_what_cannot_be_is_refused(tmp_path):
    path = write_records(tmp_path / "out.h5", "map", GROUPS, {"title": 7})
    with pytest.raises(InputError, match=r"holds a performance map, not a study .* or an optimum"):
        read_records(path, "study", "optimum")
    with pytest.raises(ValueError, match="'title' is missing or not text"):
        read_records(path).text("title")
    with pytest.raises(ValueError, match="group /nothing is missing"):
        read_records(path).numbers("nothing")
    with pytest.raises(SolveError, match="drag is not finite"):
        finite("drag", np.array([1.0, np.inf]))
    with h5py.File(path, "r+") as file:
        file.attrs["kind"] = "poem"
    with pytest.raises(InputError, match="found kind poem; accepted are result"):
        read_records(path)
    assert kind_of(path) == "result"  # whose reader says what is wrong


def test_groups_that_hold_themselves_end(tmp_path):
    path = write_records(tmp_path / "out.h5", "aircraft", GROUPS, {})
    with h5py.File(path, "r+") as file:
        file["deep/again"] = h5py.SoftLink("/")
        file["deep/inside/round"] = file["deep"]
    assert set(GROUPS) <= set(read_records(path).groups)


UNIT = r"(?:m|s|kg|N|W|J|Pa|rad|deg|dB|K|min|h)\d?"


@pytest.mark.parametrize(
    "units",
    sorted(
        {v.units for table in VARIABLES.values() for v in table.values()}
        | {v.units for v in AIRCRAFT.values()}
        | {v.units for v in aircraft_records._MEANINGS.values()}
    ),
)
def test_units_are_written_alike(units):
    # factors by a blank, powers as digits, one divisor: "N m", "kg/m3", "1/min"
    allowed = rf"1|{UNIT}(?: {UNIT})*(?:/{UNIT}(?: {UNIT})*)?|1/{UNIT}"
    assert units == OF_ITS_TOTAL or re.fullmatch(allowed, units), units


def test_heads_of_columns():
    assert heading("lift", "N") == "lift [N]"
    assert heading("CL", "1") == "CL [1]"
    assert heading("flow.alpha", "as in the case file") == heading("flow.alpha", "") == "flow.alpha"


def test_a_polar_of_version_2_is_read(tmp_path):
    # then kinds had no name, and an angle stood as an attribute of its history
    one = polar()
    path = one.save(tmp_path / "old.h5")
    with h5py.File(path, "r+") as file:
        file.attrs["schema_version"] = 2
        del file.attrs["kind"]
        for history in file["convergence"].values():
            history.attrs["flow_alpha"] = history["flow_alpha"][()]
            del history["flow_alpha"]
    assert kind_of(path) == "result"
    assert blownwing.load(path) == one


def test_a_study_of_version_1_is_read_and_written_as_today(tmp_path):
    # its summary stood in attributes
    path = EARLIER / "study_1.h5"
    assert kind_of(path) == "study"
    assert read_records(path).version == 1
    table = load_table(path)
    assert (table.title, table.method, table.lattice) == ("A study", "uncertainty", "fixed")
    assert table.shape == (3,) and table.identity == {"case": "abc"}
    assert_array_equal(table.parameters["flow.alpha"], [1.0, 2.0, 3.0])
    assert table.parameters["propellers.all.spin"] == ["inboard_up", "outboard_up", "inboard_up"]
    assert_array_equal(table.results["CL"], [0.5, np.nan, 0.7])
    assert table.messages == ("", "did not converge", "")
    assert table.summary == {"CL": {"mean": 0.6, "effect flow.alpha": 0.9}}
    again = load_table(save_table(table, tmp_path / "new.h5"))
    assert again.summary == table.summary and again.messages == table.messages
    assert_array_equal(again.results["inner.thrust"], table.results["inner.thrust"])
    with xarray.open_dataset(tmp_path / "new.h5", group="results", engine="h5netcdf") as data:
        assert data["CL"].dims == ("case",)
        assert np.isnan(data["CL"][1])
    with h5py.File(tmp_path / "new.h5") as file:
        assert file["summary/CL/mean"].attrs["units"] == "1"
        assert "inner" in file["results/inner.thrust"].attrs["long_name"]


def test_an_aircraft_and_an_optimum_of_version_1_are_read():
    path = EARLIER / "aircraft_1.h5"
    assert kind_of(path) == "aircraft"
    found = read_records(path, "aircraft", "optimum")
    assert found.groups["mass"]["total"] == Quantity(900.0, "kg", "mass of the aircraft")
    power = found.groups["cruise/over_speed"]["power"]
    assert_array_equal(power.value, [3e4, 4e4])
    assert power.over == ("speed",)
    words = words_of(found, path)
    assert words.lead == "An aircraft"
    assert words.sections == (("Cruise", (("range", "100 km", "on all energy"),)),)
    path = EARLIER / "optimum_1.h5"
    assert kind_of(path) == "optimum"
    found = read_records(path, "aircraft", "optimum")
    assert found.text("study_toml") == "[shape]\n"
    assert words_of(found, path) == Words("", (), ())


def test_a_map_of_version_1_is_read_and_written_as_today(tmp_path):
    path = EARLIER / "map_1.h5"
    assert kind_of(path) == "map"
    table = load_map(path)
    assert_allclose(table.thrust, [[0.10, 0.05], [0.12, 0.08]], rtol=1e-15)
    assert_allclose((table.omega, table.diameter, table.blades), (300.0, 0.8, 3), rtol=1e-15)
    again = load_map(save_map(table, tmp_path / "new.h5"))
    assert_array_equal(again.power, table.power)
    assert (again.key, again.thrust_error) == (table.key, table.thrust_error)
    assert read_records(tmp_path / "new.h5").version == SCHEMA_VERSION
