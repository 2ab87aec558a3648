"""Studies whose cases are whole aircraft, and sweeps at equal lift."""

import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from study_scenes import case_tables, parameter, written
from typer.testing import CliRunner

from blownwing.aircraft.scalars import AIMS, COMPROMISE, VARIABLES, unbeaten
from blownwing.cli import app
from blownwing.errors import InputError
from blownwing.report.assumed import study_notes
from blownwing.solution.variables import VARIABLES as TOTALS
from blownwing.study.lift.peak import trimmed
from blownwing.study.reader import read_study
from blownwing.study.sweep.plan import planned
from blownwing.study.sweep.run import Options, run_sweep

sys.path.insert(0, str(Path(__file__).parents[1] / "aircraft"))
from aircraft_scene import tables

ENERGY = "aircraft.battery.specific_energy"
LIST = 'method = "list"\nresults = "aircraft"\n'


def test_names_of_aircraft_numbers_are_no_others():
    assert not set(VARIABLES) & set(TOTALS["totals"])
    assert set(COMPROMISE) <= set(AIMS) <= set(VARIABLES)


def test_what_no_other_beats():
    """Pareto by its definition, by hand; without tones a row is the worst there."""
    rows = [
        {"take_off_distance": 100.0, "range": 2.0, "noise": 70.0},
        {"take_off_distance": 110.0, "range": 2.0, "noise": 70.0},  # beaten by the first
        {"take_off_distance": 120.0, "range": 3.0, "noise": 71.0},
        {"take_off_distance": 120.0, "range": 3.0},  # beaten by the third
    ]
    assert unbeaten(rows) == [0, 2]


def test_factors_are_on_what_the_case_has(tmp_path):
    made = tables()
    made["wing"]["stations"][1]["chord"] = 0.9
    sweep = LIST + parameter("wing.stations.all.chord", values=[1.0, 1.1], factor="true")
    study = read_study(written(tmp_path, sweep, tables=made))
    plan = planned(study)
    case = study.base.replace(**plan.edits(study.base, 1))
    assert_allclose([s.chord for s in case.wing.stations], [1.32, 0.99])
    text = LIST + parameter("propellers.all.kind", values=[1.0], factor="true")
    with pytest.raises(InputError, match="a factor needs them"):
        planned(read_study(written(tmp_path, text, tables=made)))


@pytest.mark.parametrize(
    ("sweep", "said"),
    [
        (LIST + 'rank_by = "CL"\n', "take_off_distance"),
        (LIST + "lift = 9000.0\n", "whose weight decides it"),
    ],
)
def test_studies_of_aircraft_that_cannot_be(tmp_path, sweep, said):
    with pytest.raises(InputError, match=said):
        path = written(tmp_path, sweep + parameter(ENERGY, values=[1.0]), tables=tables())
        planned(read_study(path))
    plain = written(tmp_path, LIST + parameter("flow.alpha", values=[1.0]))
    with pytest.raises(InputError, match=r"accepted for a case with \[aircraft\]"):
        planned(read_study(plain))


@pytest.mark.slow
def test_range_goes_as_the_battery_s_energy(tmp_path, monkeypatch):
    """Hepperle (2012): range goes as the specific energy at a given mass; take-off stays."""
    study = written(
        tmp_path, LIST + parameter(ENERGY, values=[0.9, 1.0], factor="true"), tables=tables()
    )
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(app, ["sweep", str(study), "-o", "a.h5", "--workers", "1"])
    assert done.exit_code == 0, done.output
    text = " ".join(done.output.split())
    assert "a whole aircraft each" in text and "Best compromises of take-off" in text
    assert "case 1, aircraft.battery.specific_energy × 1:" in text and "R/c" in text
    table = run_sweep(read_study(study), tmp_path / "a.h5", Options(workers=1))
    assert table.messages == ("", "")
    reach = table.results["range"]
    assert_allclose(reach[0] / reach[1], 0.9, rtol=1e-9)
    assert np.ptp(table.results["take_off_distance"]) < 1e-9
    for command in (["plot", "a.h5"], ["report", "a.h5"]):
        assert CliRunner().invoke(app, command).exit_code == 0
    page = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert "Best compromises" in page and "Model: sections linear" in page


def test_spins_at_equal_lift(tmp_path):
    """Each case's incidence is that at which the full coupling, by itself, has the lift."""
    sweep = 'lattice = "following"\nrank_by = "CD_induced"\nbest = "least"\nlift = 1500.0\n'
    sweep += parameter("spins", values='"every"')
    study = read_study(written(tmp_path, sweep, tables=case_tables(spanwise=6)))
    table = run_sweep(study, tmp_path / "o.h5", Options(workers=1))
    assert_allclose(table.results["lift"], 1500.0, rtol=1e-5)
    assert not any("Spins are ranked" in note for note in study_notes(table))
    plan = planned(study)
    for row in (0, 2):
        alone = trimmed(study.base.replace(**plan.edits(study.base, row)), "lift", 1500.0)
        assert_allclose(table.results["alpha"][row], alone.totals["alpha"], rtol=1e-4)
        # cases of a sweep keep the base's strips while edges move by less than 0.2 % of a radius
        assert_allclose(table.results["CD_induced"][row], alone.totals["CD_induced"], rtol=1e-3)
    free = read_study(written(tmp_path, sweep.replace("lift = 1500.0\n", "")))
    unequal = run_sweep(free, tmp_path / "u.h5", Options(workers=1))
    assert np.ptp(unequal.results["lift"]) > 0.01 * unequal.results["lift"].mean()
    assert any("Spins are ranked" in note for note in study_notes(unequal))


def test_incidence_cannot_hold_lift_and_vary(tmp_path):
    sweep = "lift = 900.0\n" + parameter("flow.alpha", values=[1.0, 2.0])
    with pytest.raises(InputError, match=r"by which sweep\.lift is held"):
        read_study(written(tmp_path, sweep))
