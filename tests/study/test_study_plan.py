"""Studies as read and as planned: counts, samples, spin patterns, and what is refused."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from study_scenes import case_tables, parameter, written

from blownwing import Case, InputError
from blownwing.study.place.spins import pattern_edits, spin_patterns
from blownwing.study.reader import read_study
from blownwing.study.sweep.identity import digest, identity
from blownwing.study.sweep.plan import check_quantity, planned

X = parameter("propellers.all.position.x", **{"from": -0.9, "to": -0.5, "count": 3})


def plan_of(folder, sweep, **more):
    study = read_study(written(folder, sweep, **more))
    return study, planned(study)


def test_a_grid_is_the_product_of_its_axes(tmp_path):
    thrusts = parameter("propellers.all.thrust", values=[100.0, 150.0])
    study, plan = plan_of(tmp_path, X + thrusts)
    assert plan.shape == (3, 2)
    assert_allclose(plan.rows, [(x, t) for x in (-0.9, -0.7, -0.5) for t in (100.0, 150.0)])
    case = study.base.replace(**plan.edits(study.base, 3))
    assert [(p.position[0], p.thrust) for p in case.propellers] == [(-0.7, 150.0)] * 2


def test_a_latin_hypercube_has_one_point_in_every_slice(tmp_path):
    # the defining property: McKay, Beckman & Conover 1979, Technometrics 21, 239-245
    sweep = 'method = "latin_hypercube"\nsamples = 16\n'
    sweep += parameter("propellers.inner.position.y", **{"from": 1.0, "to": 1.4})
    sweep += parameter("propellers.all.thrust", **{"from": 50.0, "to": 150.0})
    _, plan = plan_of(tmp_path, sweep)
    rows = np.array(plan.rows)
    for column, low, high in ((0, 1.0, 1.4), (1, 50.0, 150.0)):
        slices = np.floor(16 * (rows[:, column] - low) / (high - low)).astype(int)
        assert sorted(slices) == list(range(16))


def test_sobol_points_halve_every_axis_evenly_and_depend_on_the_seed(tmp_path):
    sweep = 'method = "sobol"\nsamples = 32\nseed = {}\n' + parameter(
        "propellers.all.thrust", **{"from": 0.0, "to": 1.0}
    )
    first, second = (np.array(plan_of(tmp_path, sweep.format(s))[1].rows) for s in (1, 2))
    again = np.array(plan_of(tmp_path, sweep.format(1))[1].rows)
    assert np.array_equal(first, again) and not np.array_equal(first, second)
    assert np.sum(first < 0.5) == 16


def test_a_list_pairs_its_columns(tmp_path):
    sweep = 'method = "list"\n' + parameter("propellers.all.thrust", values=[10.0, 20.0])
    sweep += parameter("spins", values='["inboard_up", "inboard_up outboard_up"]')
    study, plan = plan_of(tmp_path, sweep)
    assert plan.rows == ((10.0, "inboard_up"), (20.0, "inboard_up outboard_up"))
    case = study.base.replace(**plan.edits(study.base, 1))
    assert [p.spin for p in case.propellers] == ["inboard_up", "outboard_up"]


def test_mirrored_propellers_have_all_patterns():
    patterns = spin_patterns(Case.from_tables(case_tables()))
    assert len(patterns) == len(set(patterns)) == 4


def explicit(spins=("inboard_up", "inboard_up"), **flow):
    tables = case_tables()
    one = tables["propellers"][1]
    tables["propellers"] = [
        {**one, "name": "port", "position": [-0.6, -2.8, 0.0], "mirror": False, "spin": spins[0]},
        {**one, "name": "starboard", "mirror": False, "spin": spins[1]},
    ]
    tables["flow"] |= flow
    return Case.from_tables(tables)


def test_patterns_that_mirror_each_other_are_counted_once():
    # out-in and in-out are images of each other: three patterns of four (counted by hand)
    assert len(spin_patterns(explicit())) == 3
    assert len(spin_patterns(explicit(beta=3.0))) == 4  # sideslip tells them apart


def test_a_pattern_needs_a_word_for_every_propeller():
    case = explicit()
    assert pattern_edits(case, "outboard_up") == {
        "propellers.0.spin": "outboard_up",
        "propellers.1.spin": "outboard_up",
    }
    with pytest.raises(InputError, match="accepted are 2 words"):
        pattern_edits(case, "outboard_up inboard_up inboard_up")


def test_the_digest_knows_case_options_and_values(tmp_path):
    seen = set()
    for edits, sweep in (("", X), ("flow.alpha = 4.0", X), ("", X.replace("-0.9", "-0.8"))):
        study, plan = plan_of(tmp_path, sweep, edits=edits)
        assert digest(identity(study, plan)) == digest(identity(study, plan))
        seen.add(digest(identity(study, plan)))
    study, plan = plan_of(tmp_path, 'lattice = "following"\n' + X)
    assert len(seen | {digest(identity(study, plan))}) == 4


@pytest.mark.parametrize(
    ("sweep", "sentence"),
    [
        (X.replace("count = 3", ""), "count: this key is missing"),
        (X.replace("all.position", "all.positon"), 'did you mean "position"'),
        (X.replace("-0.9", "-0.5"), "accepted is a value above from"),
        (X + X, "accepted are unique keys"),
        (X.replace("to = -0.5", ""), "this key is missing; a range has from and to"),
        (parameter("flow.alpha"), "accepted is exactly one of values"),
        (parameter("flow.alpha", values="[]"), "found an empty list"),
        (parameter("flow.alpha", values='"every"'), 'accepted only with key = "spins"'),
        ('method = "sobol"\n' + X.replace("count = 3", ""), "samples: this key is missing"),
        ('method = "sobol"\nsamples = 12\n' + X.replace("count = 3", ""), "power of two"),
        ('method = "monte_carlo"\n' + X, "accepted is"),
        ('method = "list"\n' + X.replace("count = 3", ""), "values: this key is missing"),
        (parameter("flow.alpha", mean=1.0, deviation=0.1), 'only with method = "uncertainty"'),
        (X.replace("count = 3", "count = 2000000"), "accepted are up to 1000000"),
        (parameter("spins", values='["sideways"]'), "sideways"),
        (parameter("flow.alpha", values="[true]"), "found true; accepted for flow.alpha"),
        (parameter("flow.alpha", values="[1.0, false]"), "found false"),
        (parameter("propellers.all.position", values="[[true, 1.0, 0.0]]"), "values"),
    ],
)
def test_bad_studies_are_refused_in_one_sentence(tmp_path, sweep, sentence):
    with pytest.raises(InputError) as caught:
        study, plan = plan_of(tmp_path, sweep)
        study.base.replace(**plan.edits(study.base, 0))
    assert sentence in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_list_of_angles_belongs_in_the_sweep(tmp_path):
    with pytest.raises(InputError, match=r"flow\.alpha; accepted"):
        read_study(written(tmp_path, X, edits="flow.alpha = [1.0, 2.0]"))


@pytest.mark.parametrize("name", ["neutral_point", "half_lift", "weight"])
def test_what_no_sweep_has_cannot_order_it(name):
    with pytest.raises(InputError, match=f'rank_by: found "{name}"'):
        check_quantity(Case.from_tables(case_tables()), name, "rank_by")
    check_quantity(Case.from_tables(case_tables()), "C_pitch", "rank_by")  # control
