"""Spins searched along with places, against a search for every pattern by itself."""

import io

import pytest
from numpy.testing import assert_allclose
from rich.console import Console
from study_scenes import case_tables, fixed_lattice

from blownwing import Case
from blownwing.errors import InputError
from blownwing.report import style
from blownwing.report.optimum_figures import CAPTIONS, optimum_figures
from blownwing.report.placement_report import placement_words
from blownwing.report.words import print_words
from blownwing.study.model import PlacementSearch
from blownwing.study.optimum import placement_record
from blownwing.study.place.confirmation import confirmed_placement
from blownwing.study.place.search import best_placement
from blownwing.study.place.spin_search import best_placement_and_spins
from blownwing.study.place.spins import pattern_edits, spin_patterns


def outboard_up():
    tables = case_tables(spanwise=12)
    for item in tables["propellers"]:
        item["spin"] = "outboard_up"
    return Case.from_tables(tables)


def search(case, **more):
    lift = fixed_lattice(case)({})["lift"]
    parameter = {"key": "propellers.outer.position.x", "from": -0.9, "to": -0.5}
    return PlacementSearch.model_validate(
        {"objective": "CD_induced", "lift": lift, "starts": 1, "parameters": [parameter], **more}
    )


def test_the_best_of_all_patterns_is_found_and_told():
    case = outboard_up()
    problem = search(case, spins="every")
    found = best_placement_and_spins(case, problem)
    alone = {
        pattern: best_placement(case.replace(**pattern_edits(case, pattern)), problem)
        for pattern in spin_patterns(case)
    }
    assert len(alone) == 4 == len(found.patterns)
    values = {pattern: end.after["CD_induced"] for pattern, end in alone.items()}
    best = min(values, key=values.get)
    assert_allclose(found.after["CD_induced"], values[best], rtol=1e-6)
    assert found.patterns[0][0] == best
    assert [v for _, v in found.patterns] == sorted(v for _, v in found.patterns)
    # the case as it was is the baseline, and a poor one: swirl against the tip vortex saves drag
    # (common practice, no source)
    own = values["outboard_up outboard_up"]
    assert best.split()[1] == "inboard_up"
    assert own > 1.01 * values[best]
    assert_allclose(found.before["CD_induced"], fixed_lattice(case)({})["CD_induced"], rtol=1e-6)
    after = case.replace(**found.edits)
    assert [item.spin for item in after.propellers] == best.split()
    assert_allclose(fixed_lattice(after)({})["lift"], problem.lift, rtol=1e-4)

    stream = io.StringIO()
    console = Console(file=stream, width=100)
    check = confirmed_placement(case, problem, found)
    print_words("Spins", placement_words(case, found, check, problem), console)
    words = stream.getvalue()
    assert "Spin patterns, 4 tried" in words and best in words
    assert "CD_induced at these places at the same lift" in words
    groups = placement_record(case, problem, found, check)
    assert_allclose(groups["spins"]["CD_induced"].value, [v for _, v in found.patterns])
    assert groups["variables/propellers.outer.position.x"]["before"].value == -0.6
    with style.settings():
        drawn = optimum_figures(groups, "Spins")
    assert set(drawn) == {"loading", "spins"} <= set(CAPTIONS)
    assert drawn["spins"].axes[0].get_ylabel() == "CD_induced"
    assert f"propellers.1.spin {best.split()[1]}" in " ".join(words.split())


def test_discs_without_blades_have_no_spins_to_try():
    tables = case_tables(spanwise=6)
    for item in tables["propellers"]:
        for key in ("blades", "blade", "spin"):
            del item[key]
        item["kind"] = "disc"
    case = Case.from_tables(tables)
    with pytest.raises(InputError, match="found 0 propellers with blades"):
        best_placement_and_spins(case, search(case, spins="every"))
