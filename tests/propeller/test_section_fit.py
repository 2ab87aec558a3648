"""The section that makes a geometry give measured points: found again, judged, contradicted."""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from typer.testing import CliRunner

from blownwing.airfoil.packed import coefficients
from blownwing.case.air import air_at
from blownwing.cli import app
from blownwing.errors import InputError
from blownwing.propeller.blade import read_blade
from blownwing.propeller.section_fit import (
    PARAMETERS,
    Measured,
    _Model,
    adjusted,
    fitted_blade,
    fitted_section,
    mean_error,
)
from blownwing.validation.claims import bar, said

ROOT = Path(__file__).parents[2]
BLADES = ROOT / "shared" / "blades"
INCH = 0.0254
SIZES = {"apce_10x5": 10.0, "apce_10x7": 10.0, "apce_17x12": 17.0, "da4002_9x6.75": 9.0}
NEUTRAL = {name: 0.0 for name in PARAMETERS}


def points_of(name):
    """Brandt & Selig (2011), AIAA 2011-1255: excerpt under validation/measured_propellers."""
    text = (ROOT / "validation" / "measured_propellers" / "uiuc.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    rows = [row for row in csv.DictReader(lines) if row["propeller"] == name]
    values = [[float(row[key]) for key in ("rpm", "J", "CT", "CP")] for row in rows]
    array = np.array(values).T
    return Measured(*array, np.zeros(array.shape[1]))


def one_run(points, rpm):
    """Points within 2 % of a rotor speed, given that speed; the others as they are."""
    near = np.abs(points.rpm / rpm - 1.0) < 0.02
    return replace(points, rpm=np.where(near, rpm, points.rpm))


@pytest.mark.parametrize(
    "name",
    [
        name if k == 0 else pytest.param(name, marks=pytest.mark.slow)
        for k, name in enumerate(SIZES)
    ],
)
def test_one_rotor_speed_foretells_the_others(name):
    # bars: mean error of the largest value at all other speeds, CT 3 %, CP 4 %
    points = points_of(name)
    fastest = points.rpm[points.advance > 0.0].max()
    blade = read_blade(BLADES / f"uiuc_{name}.csv")
    fit = fitted_section(
        blade, SIZES[name] * INCH, 2, air_at(), one_run(points, fastest), rpm=fastest
    )
    flying = fit.held.advance > 0.0
    held = mean_error(fit.computed_held[flying], fit.held.part(flying), fit.scale)
    before = mean_error(fit.before_held[flying], fit.held.part(flying), fit.scale)
    left = fit.mean_error(fit.left_out, fit.used)
    print(f"{name}: {len(fit.used)} points fitted, {flying.sum()} held; CT {held[0]:.2%}, "
          f"CP {held[1]:.2%} (before {before[0]:.2%}, {before[1]:.2%})")  # fmt: skip
    for errors in (held, left):
        assert errors[0] <= bar("section_fit", "CT")
        assert errors[1] <= bar("section_fit", "CP")
    assert np.all(held < before)
    assert fit.remarks == ()


def test_neutral_values_change_nothing():
    # but rows between the table's own Reynolds numbers, in whose place new ones stand
    table = next(iter(read_blade(BLADES / "uiuc_apce_10x7.csv").tables.values()))
    same = adjusted(table, NEUTRAL)
    alpha = np.radians(np.linspace(-13.0, 19.0, 65))
    for reynolds in (4e4, 9e4, 2e5):
        one = coefficients(table, alpha, reynolds)
        other = coefficients(same, alpha, reynolds)
        assert_allclose(other[0], one[0], atol=5e-3)
        assert_allclose(other[1], one[1], rtol=0.03)


def test_each_number_does_what_its_words_say():
    table = next(iter(read_blade(BLADES / "uiuc_apce_10x7.csv").tables.values()))
    alpha = np.radians(np.linspace(-12.0, 18.0, 241))

    def at(reynolds=6e4, **values):
        return coefficients(adjusted(table, NEUTRAL | values), alpha, reynolds)

    cl, cd, _ = at()
    pick = slice(0, 160)  # where lift grows

    def zero(lift):
        return np.degrees(np.interp(0.0, lift[pick], alpha[pick]))

    assert zero(at(shift=2.0)[0]) == pytest.approx(zero(cl) - 2.0, abs=0.05)
    assert at(peak=0.2)[0].max() == pytest.approx(np.exp(0.2) * cl.max(), rel=0.01)
    assert at(drag=0.3)[1].min() == pytest.approx(np.exp(0.3) * cd.min(), rel=1e-3)
    low, high = at(2e4, trend=1.5)[0], at(1.5e5, trend=1.5)[0]
    assert zero(low) - zero(high) == pytest.approx(1.5 * np.log(7.5), rel=0.03)
    lost = cl - at(knee=0.1, knee_place=6.0)[0]
    assert lost[np.argmin(np.abs(alpha))] == pytest.approx(0.1, abs=0.01)  # 3.5 deg above zero lift
    assert abs(lost[-20]) < 0.01
    more = at(separated=1.0)[1] - cd
    assert np.all(np.abs(more[60:130]) < 1e-3) and more[-1] > 0.05


def test_a_known_section_is_found_again():
    # points computed with a section of known numbers: they come back, and so do the coefficients
    blade = read_blade(BLADES / "uiuc_apce_10x5.csv")
    truth = {"shift": -1.5, "drag": 0.2, "peak": -0.1, "separated": 0.5, "trend": 1.6,
             "knee": 0.08, "knee_place": 6.0}  # fmt: skip
    j = np.linspace(0.05, 0.7, 20)
    ghost = Measured(np.full(20, 6000.0), j, 0.0 * j + 1.0, 0.0 * j + 1.0, 0.0 * j)
    known = fitted_section(fitted_blade(blade, truth), 0.254, 2, air_at(), ghost).before
    points = Measured(ghost.rpm, j, known[:, 0], known[:, 1], ghost.pitch)
    fit = fitted_section(blade, 0.254, 2, air_at(), points)
    assert max(fit.mean_error(fit.computed, fit.used)) < 1e-3
    for name in ("shift", "drag", "peak"):
        assert fit.values[name] == pytest.approx(truth[name], abs=2.0 * fit.deviations[name])
        assert fit.deviations[name] < 0.5 * PARAMETERS[name].deviation


@pytest.mark.slow
def test_another_propellers_points_contradict():
    # a shift of the zero-lift angle hides a wrong pitch from CT and CP; how far it went is said
    points = points_of("da4002_9x6.75")
    fastest = points.rpm[points.advance > 0.0].max()
    blade = read_blade(BLADES / "uiuc_apce_10x5.csv")
    fit = fitted_section(blade, 9.0 * INCH, 2, air_at(), one_run(points, fastest), rpm=fastest)
    assert any("the zero-lift angle had to move by" in r for r in fit.remarks)
    assert any("deviations from a usual section's" in r for r in fit.remarks)


@pytest.mark.slow
def test_too_little_power_contradicts():
    # half the power at the same thrust: below what the blades need without any drag
    own = points_of("apce_10x5")
    few = own.part((own.rpm > 6600.0) & (np.arange(len(own)) % 4 == 0))
    cheap = one_run(replace(few, power=0.55 * few.power), 6700.0)
    blade = read_blade(BLADES / "uiuc_apce_10x5.csv")
    fit = fitted_section(blade, 0.254, 2, air_at(), cheap)
    assert any("without any drag" in r for r in fit.remarks)


@pytest.fixture
def table(tmp_path):
    points = points_of("apce_10x7")
    keep = (points.rpm > 6400) & (points.advance > 0.0)
    order = np.argsort(points.advance[keep])
    rows = np.column_stack([v[keep][order] for v in (points.advance, points.thrust, points.power)])
    lines = ["# source: an excerpt", "J,CT,CP,rpm", *(f"{a},{b},{c},6525" for a, b, c in rows[::2])]
    path = tmp_path / "points.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def run(*words):
    return CliRunner().invoke(app, ["fit-propeller", *map(str, words)])


@pytest.mark.slow
def test_the_command_writes_a_blade_that_gives_the_points(tmp_path, table):
    blade, folder = BLADES / "uiuc_apce_10x7.csv", tmp_path / "fit"
    result = run(blade, table, "--diameter", "10 in", "--blades", 2, "-o", folder)
    assert result.exit_code == 0, result.output
    assert max(map(len, result.stdout.split("Written:")[0].splitlines())) <= 80
    names = {path.name for path in folder.iterdir()}
    section = "uiuc_apce_10x7_small_propeller_fitted.csv"
    assert names == {section, "uiuc_apce_10x7_fitted.csv", "fit.png"}
    first = (folder / section).read_text(encoding="utf-8").splitlines()[0]
    assert "fitted to points.csv" in first
    assert "points left out" in first
    made = read_blade(folder / "uiuc_apce_10x7_fitted.csv")
    rows = np.loadtxt(table, delimiter=",", skiprows=2).T
    points = Measured(rows[3], rows[0], rows[1], rows[2], 0.0 * rows[0])
    again = fitted_section(made, 10.0 * INCH, 2, air_at(), points)
    error = again.mean_error(again.before, points)  # of the files, as they were read
    assert error[0] < 0.015
    assert error[1] < 0.02


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--diameter", "ten", "--blades", "2"), '--diameter: found "ten"'),
        (("--diameter", "-1", "--blades", "2"), "--diameter: found -1; accepted is above 0"),
        (("--diameter", "10 in", "--blades", "2", "--rpm", "-5"), "--rpm: found -5"),
    ],
)
def test_bad_options_are_one_sentence(table, words, message):
    result = run(BLADES / "uiuc_apce_10x7.csv", table, *words)
    assert result.exit_code == 2
    assert message in result.output
    assert "Traceback" not in result.output


def test_tables_a_fit_cannot_use_are_refused(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text(
        "# source: t\nJ,CT,CP\n0,0.1,0.05\n.1,.09,.05\n.2,.08,.05\n.3,.07,.05\n", encoding="utf-8"
    )
    result = run(BLADES / "uiuc_apce_10x7.csv", path, "--diameter", "10 in", "--blades", 2)
    assert result.exit_code == 2
    assert "found no column rpm" in result.output
    with pytest.raises(InputError, match="found 3 measured points to fit"):
        few = Measured(*np.tile(np.array([[5000.0], [0.3], [0.08], [0.05], [0.0]]), 3))
        fitted_section(read_blade(BLADES / "uiuc_apce_10x7.csv"), 0.254, 2, air_at(), few)


def flown(name):
    """Points of a propeller in flight, and the model of its blade."""
    points = points_of(name)
    points = points.part(points.advance > 0.0)
    blade = read_blade(BLADES / f"uiuc_{name}.csv")
    return points, _Model(blade, SIZES[name] * INCH, 2, air_at(), points.scale)


def test_the_general_sections_errors_are_those_that_summaries_print():
    errors = []
    for name in SIZES:
        points, model = flown(name)
        errors.append(100.0 * mean_error(model.unfitted(points), points, points.scale))
    for k, word in enumerate(("CT", "CP")):
        found = [error[k] for error in errors]
        print(word, [f"{value:.1f}" for value in found])
        assert f"{word} {round(min(found))} to {round(max(found))} %" in said("general_section")


@pytest.mark.slow
def test_a_section_of_three_propellers_errs_on_the_fourth_as_printed():
    from scipy.optimize import least_squares

    models = {name: flown(name) for name in SIZES}
    names = list(PARAMETERS)
    spread = np.array([PARAMETERS[n].deviation for n in names])
    mean, low, high = (
        np.array([getattr(PARAMETERS[n], end) for n in names]) for end in ("mean", "low", "high")
    )

    def named(z):
        return dict(zip(names, (mean + spread * (z - 10.0)).tolist(), strict=True))

    errors = []
    for out in SIZES:

        def residuals(z, out=out):
            parts = [z - 10.0]
            for name, (points, model) in models.items():
                if name != out:
                    measured = np.column_stack((points.thrust, points.power))
                    parts.append(
                        (
                            (model.computed(named(z), points) - measured) / (0.04 * points.scale)
                        ).ravel()
                    )
            return np.concatenate(parts)

        ends = [10.0 + (end - mean) / spread for end in (low, high)]
        start = np.clip(np.full(len(names), 10.0), ends[0] + 0.01, ends[1] - 0.01)
        found = least_squares(residuals, start, bounds=ends, diff_step=1e-3, ftol=1e-5, xtol=1e-5)
        points, model = models[out]
        errors.append(
            100.0 * mean_error(model.computed(named(found.x), points), points, points.scale)
        )
    ends = [f"{round(min(each))} to {round(max(each))}" for each in zip(*errors, strict=True)]
    assert f"fitted to the other three: {' and '.join(ends)} %" in said("general_section")


# The rule by which the last four priors were set: propellers fitted with these wide ones, then mean
# and predictive deviation, the judgement counting as one propeller.
WIDE = {"shift": (0.0, 2.5), "drag": (0.0, 0.3), "peak": (0.0, 0.2), "separated": (0.5, 1.0),
        "trend": (1.0, 1.5), "knee": (0.05, 0.2), "knee_place": (6.0, 3.0)}  # fmt: skip
JUDGED = {"separated": 1.0, "trend": 1.0, "knee": 0.15, "knee_place": 2.0}


def with_priors(model, priors):
    """The model with other means and deviations."""
    for name, (mean, deviation) in priors.items():
        model.parameters[name] = replace(model.parameters[name], mean=mean, deviation=deviation)
    return model


def by_rule(fits):
    """Means and deviations of the priors that some propellers' values make."""
    priors = {name: WIDE[name] for name in ("shift", "drag", "peak")}
    for name, judged in JUDGED.items():
        x = np.array([values[name] for values in fits])
        scatter = (judged**2 + np.sum((x - x.mean()) ** 2)) / len(x)
        priors[name] = float(x.mean()), float(np.sqrt(scatter * (1.0 + 1.0 / len(x))))
    return priors


@pytest.mark.slow
def test_priors_of_three_propellers_serve_the_fourth():
    # bars as above, mean error at all other speeds CT 3 %, CP 4 %, with priors that never saw the
    # propeller (the parameters' form did): from every run of 7 points or more. From 6 points, all
    # at the lowest speeds, CP misses its bar once: 4.2 %, of the fourth at Re 30 000.
    fits = {}
    for name in SIZES:
        points, model = flown(name)
        fits[name] = with_priors(model, WIDE).fitted(points)[0]
    for name, (mean, deviation) in by_rule(fits.values()).items():
        assert PARAMETERS[name].mean == pytest.approx(mean, abs=0.1 * max(deviation, 0.5))
        assert PARAMETERS[name].deviation == pytest.approx(deviation, rel=0.06)
    for name in SIZES:
        priors = by_rule([values for other, values in fits.items() if other != name])
        points, model = flown(name)
        with_priors(model, priors)
        levels = np.sort(points.rpm)
        starts = levels[np.concatenate(([True], np.diff(levels) > 0.02 * levels[:-1]))]
        for rpm in starts:
            near = np.abs(points.rpm / rpm - 1.0) < 0.025
            if near.sum() < 6:
                continue
            values, _ = model.fitted(points.part(near))
            held = points.part(~near)
            error = mean_error(model.computed(values, held), held, points.scale)
            print(f"{name} from {near.sum()} points at {rpm:.0f} rpm, {len(held)} held: "
                  f"CT {error[0]:.2%}, CP {error[1]:.2%}")  # fmt: skip
            few = near.sum() < 7
            assert error[0] <= 0.03
            assert error[1] <= (0.045 if few else 0.04)
