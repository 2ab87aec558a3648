"""Measured propellers on a wing: as the blades they were made from, mirrored, swept, flown."""

import io
import json
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from rich.console import Console
from scenes import scene

from blownwing import InputError, load, read_case, solve
from blownwing.case.air import air_at
from blownwing.coupling.discs import placed_discs
from blownwing.explore.preview import answerer
from blownwing.propeller.blade import read_blade
from blownwing.propeller.rotor import axial_inflow, build_rotor, coefficients, solve_rotor
from blownwing.report.explain import print_case
from blownwing.report.summary import print_summary
from blownwing.study.runner import keeps_lattice, prepared_runner
from blownwing.validation.claims import bar

ROOT = Path(__file__).parents[2]
BLADES = ROOT / "shared" / "blades"
DEMO = ROOT / "cases" / "eight_measured.toml"
TABLE = str(ROOT / "shared" / "performance" / "high_lift_5.csv")


def table_of_blades(folder, blade, diameter, blades, speeds):
    """CT and CP of the blade-element model as a table, with what a case says beside it."""
    air, rotor = air_at(), build_rotor(read_blade(blade), diameter, blades)
    lines = ["# source: blade elements", "J,CT,CP,rpm"]
    for rpm in speeds:
        for j in np.linspace(0.0, 1.2, 25):
            speed, omega = j * rpm / 60.0 * diameter, rpm * np.pi / 30.0
            found = solve_rotor(rotor, air, omega, 0.0, "clockwise", axial_inflow(rotor, speed))
            c = coefficients(rotor, air, found, speed)
            lines.append(f"{j:.4f},{c.thrust:.7f},{c.power:.7f},{rpm}")
    path = folder / f"{Path(blade).stem}.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return {
        "kind": "measured",
        "table": str(path),
        "solidity": rotor.solidity,
        "hub_ratio": rotor.hub_radius / rotor.radius,
    }


def measured(y=2.0, name="prop", spin="inboard_up", mirror=True, **more):
    return {
        "name": name, "kind": "measured", "table": TABLE, "solidity": 0.19, "blades": 5,
        "position": [-0.6, y, 0.0], "diameter": 0.8, "spin": spin, "mirror": mirror,
        **(more or {"thrust": 250.0}),
    }  # fmt: skip


PROPELLERS = {
    "apce_10x5": (10.0, 6.0), "apce_10x7": (10.0, 7.0), "apce_17x12": (17.0, 16.0),
    "da4002_9x6.75": (9.0, 3.0),
}  # fmt: skip


# Bar 3 % of the lift gained. By its table alone the fourth misses it (+3.9 %; +8.0 % with four
# layers): its inner blade carries little, and no table says so. Of that, its blades' own axial
# velocities take away 2.3 of 3.9 (6.4 of 8.0), their swirl 1.1. With its shape it is within 1 %.
@pytest.mark.parametrize(
    ("name", "shaped", "which"),
    [
        (name, False, "gain" if name.startswith("apce") else "gain of the fourth by table")
        for name in PROPELLERS
    ]
    + [(name, True, "gain") for name in PROPELLERS],
)
def test_lift_gained_is_that_of_the_blades_behind_the_table(tmp_path, name, shaped, which):
    # blades and table of the same propeller: what differs is the loading along the radius only
    inches, thrust = PROPELLERS[name]
    size, blade = inches * 0.0254, str(BLADES / f"uiuc_{name}.csv")
    table = table_of_blades(tmp_path, blade, size, 2, (3000, 5500, 10000))
    if shaped:
        del table["solidity"], table["hub_ratio"]  # the shape's
        table["shape"] = blade
    stations = [{"y": 0.0, "chord": 1.2 * size}, {"y": 4.0 * size, "chord": 1.2 * size}]
    common = {"name": "p", "position": [-0.6 * size, 2.0 * size, 0.0], "diameter": size,
              "blades": 2, "spin": "inboard_up", "mirror": True, "thrust": thrust}  # fmt: skip
    found = [
        solve(
            scene(
                [common | kind],
                flow={"airspeed": 14.0},
                wing={"stations": stations},
                model={"jet_edge": True, "spanwise": 24, "jet_around": 16, "jet_rings": 16},
            )
        )
        for kind in ({"blade": blade}, table)
    ]
    gain = [s.totals["lift"] - s.totals["lift_unblown"] for s in found]
    one, other = (s.propellers["p"] for s in found)
    normal = other["normal_force"] / one["normal_force"]
    print(
        f"{name}{', shape given' if shaped else ''}: lift gained {gain[1] / gain[0] - 1:+.2%}, "
        f"normal force {normal - 1:+.1%}"
    )
    assert abs(gain[1] / gain[0] - 1.0) <= bar("measured_lift_gained", which)
    assert other["power"] == pytest.approx(one["power"], rel=0.005)
    assert other["rpm"] == pytest.approx(one["rpm"], rel=0.002)
    # Ribner's fin against blades in azimuth: an estimate (Ribner 1945 himself: "of the order")
    assert normal == pytest.approx(1.0, abs=bar("measured_lift_gained", "normal force"))
    if shaped:  # blades whose table this is get their own loading back
        largest = np.max(one["axial_induced"])
        assert_allclose(other["axial_induced"], one["axial_induced"], atol=0.02 * largest)
        swirl = np.max(np.abs(one["tangential_induced"]))
        assert_allclose(other["tangential_induced"], one["tangential_induced"], atol=0.03 * swirl)


def test_a_shape_takes_the_tables_thrust_and_torque():
    # blades of quite another section: turned to the thrust, the torque that is left goes to swirl
    case = scene([measured(mirror=False, rpm=3000.0) | {"shape": str(BLADES / "high_lift_5.csv")}],
                 alpha=0.0)  # fmt: skip
    p = solve(case).propellers["prop"]
    edges = placed_discs(case).units[0].edges
    ring = 1.225 * (p["inflow"] + p["axial_induced"]) * 2.0 * np.pi * p["r"] * np.diff(edges)
    assert p["torque"] == pytest.approx(
        np.sum(ring * p["r"] * 2.0 * p["tangential_induced"]), rel=0.06
    )
    assert p["thrust"] == pytest.approx(np.sum(ring * 2.0 * p["axial_induced"]), rel=0.06)
    console = Console(file=io.StringIO(), width=200)
    print_case(case, console)
    assert "of the blades " in console.file.getvalue()
    assert "no normal force" not in console.file.getvalue()
    with pytest.raises(InputError, match=r"propellers\[0\]\.shape: .*no such file"):
        solve(scene([measured() | {"shape": "none.csv"}]))


def test_demonstration_case_with_and_without_blades():
    demo = read_case(DEMO)
    found = solve(demo.replace(**{"model.spanwise": 24, "model.chordwise": 3}))
    blades = solve(
        read_case(ROOT / "cases" / "short_field_eight.toml").replace(
            **{"model.spanwise": 24, "model.chordwise": 3}
        )
    )
    gain = [s.totals["lift"] - s.totals["lift_unblown"] for s in (found, blades)]
    assert gain[0] == pytest.approx(gain[1], rel=0.03)
    assert found.totals["power"] == pytest.approx(blades.totals["power"], rel=0.01)


def test_torque_is_the_swirl_in_the_mean():
    result = solve(scene([measured(mirror=False, y=2.0, rpm=3000.0)], alpha=0.0))
    p = result.propellers["prop"]
    assert p["CP"] == pytest.approx(2.0 * np.pi * p["CQ"])
    assert p["beyond_table"] == pytest.approx(1.0)
    # per annulus ρ (V + u) 2πr r v_θ dr; the blades meet more than the mean by Prandtl's factor
    edges = placed_discs(scene([measured(rpm=3000.0)])).units[0].edges
    mean = p["axial_induced"]
    torque = np.sum(
        1.225 * (p["inflow"] + mean) * 2.0 * np.pi * p["r"] ** 2
        * 2.0 * p["tangential_induced"] * np.diff(edges)
    )  # fmt: skip
    assert p["torque"] == pytest.approx(torque, rel=0.05)


def test_mirrored_case_is_mirrored_and_spin_turns_the_swirl():
    one = solve(scene([measured(mirror=False)], alpha=4.0))
    other = solve(scene([measured(y=-2.0, mirror=False)], alpha=4.0))
    assert_allclose(one.totals["lift"], other.totals["lift"], rtol=1e-9)
    assert_allclose(one.totals["C_roll"], -other.totals["C_roll"], rtol=1e-7)
    up, down = (
        solve(scene([measured(spin=spin, thrust=250.0)])) for spin in ("inboard_up", "outboard_up")
    )
    swirl = [s.strips["slipstream_swirl"] for s in (up, down)]
    assert_allclose(swirl[0], -swirl[1], atol=0.05 * np.max(np.abs(swirl[0])))


def test_no_thrust_converges_and_a_free_one_has_no_efficiency():
    for wanted in ({"thrust": 0.0}, {"power": 0.0}):
        result = solve(scene([measured(**wanted)], model={"tolerance": 1e-8}))
        p = result.propellers["prop"]
        assert len(result.convergence["residual"]) < 12
        assert abs(p.get("efficiency", 0.0)) < 1e-6
        assert abs(result.totals.get("efficiency", 0.0)) < 1e-6


def test_edges_of_the_table_are_said_with_the_propellers_name():
    from blownwing import SolveError

    with pytest.raises(SolveError, match=r"propeller prop: J = .* lies beyond the table high_lift"):
        solve(scene([measured(rpm=500.0)]))
    with pytest.raises(InputError, match=r"propellers\[0\]\.table: .*cannot be read"):
        solve(scene([measured() | {"table": "none.csv"}]))
    with pytest.raises(InputError, match=r"propeller prop: .* found a pitch of 3 deg for a table"):
        solve(scene([measured(thrust=100.0, pitch=3.0)]))


def test_a_speed_beyond_the_table_is_said(tmp_path):
    console = Console(width=200, record=True, file=io.StringIO())
    case = scene([measured(rpm=5400.0)])
    result = solve(case)
    assert result.propellers["prop"]["beyond_table"] == pytest.approx(1.2)
    print_summary(result, console)
    print_case(case, console)
    text = console.export_text()
    assert "prop turns at 1.20 times the nearest speed" in text
    assert "that of minimum loss, not measured" in text
    assert "normal force of a solidity of 0.19" in text
    result.save(tmp_path / "a.h5")
    assert load(tmp_path / "a.h5").propellers["prop"]["beyond_table"] == pytest.approx(1.2)


def test_a_sweep_takes_the_full_solve():
    case = scene([measured()])
    assert not keeps_lattice(case)
    run = prepared_runner(case, "fixed")
    outcome = run({"propellers.prop.thrust": 180.0, "flow.alpha": 3.0})
    full = solve(case.replace(**{"propellers.prop.thrust": 180.0, "flow.alpha": 3.0}))
    assert outcome.values["lift"] == pytest.approx(full.totals["lift"], rel=2e-4)
    assert outcome.values["prop.rpm"] == pytest.approx(full.propellers["prop"]["rpm"], rel=2e-4)
    assert "beyond the table" in run({"propellers.prop.rpm": 300.0}).failure


def test_a_sweep_does_not_turn_blades_into_a_table_unseen():
    blades = measured() | {"kind": "blade", "blade": str(BLADES / "high_lift_5.csv")}
    for key in ("table", "solidity"):
        del blades[key]
    case = scene([blades])
    edits = {f"propellers.prop.{key}": measured()[key] for key in ("kind", "table")}
    edits["propellers.prop.blade"] = None
    assert "measured propeller" in prepared_runner(case, "fixed")(edits).failure
    assert prepared_runner(case, "following")(edits).values["prop.rpm"] > 0.0


def test_the_page_previews_and_answers():
    from blownwing.explore.answer import case_data, solution_data

    case = scene([measured()])
    shown = answerer()(case, False).solution
    assert shown.totals["CL"] == pytest.approx(solve(case).totals["CL"], rel=1e-3)
    json.dumps(solution_data(case, shown, 0.1, False) | case_data(case))


def test_wing_and_spin_searches_know_it():
    from blownwing.study.place.spins import turning
    from blownwing.study.shape.balance import Balancer

    case = scene([measured()])
    assert turning(case) == [0]
    setting = Balancer()(case)
    assert np.any(setting.streams.swirl)


def flying():
    """A small aircraft for `thrust_limits` and one state of cruise."""
    from blownwing import Case

    stations = [
        {"y": 0.0, "chord": 1.2, "airfoil": "naca2412"},
        {"y": 5.0, "chord": 1.2, "twist": -2.0, "airfoil": "naca2412"},
    ]
    propellers = [
        measured(y, name, thrust=300.0) | {"diameter": 1.2}
        for name, y in (("in", 1.5), ("out", 3.5))
    ]
    return Case.from_tables(
        {
            "flow": {"airspeed": 30.0, "alpha": 4.0},
            "wing": {"stations": stations, "reference_point": [0.3, 0.0, 0.0]},
            "propellers": propellers,
            "model": {"chordwise": 2, "spanwise": 8},
            "aircraft": {
                "mass": 900.0, "drag_area": 0.25, "section_clmax": 1.5, "flapped_clmax": 2.2,
                "chordwise": 2, "spanwise": 8,
                "tail": {"arm": 4.0, "span": 3.0, "area": 1.9},
                "motors": [{"power": 40000.0, "rpm": 3000.0, "efficiency": 0.94}],
                "battery": {"mass": 250.0, "specific_energy": 200.0, "usable": 0.85},
                "take_off": {"ground_height": 1.4},
                "cruise": {"altitude": 1500.0, "airspeed": 52.0, "idle": ["in"],
                           "idle_state": "windmilling"},
            },
        }
    )  # fmt: skip


def test_an_aircraft_flies_on_its_table():
    from blownwing.aircraft.configuration import configured
    from blownwing.aircraft.polar import solved_polar
    from blownwing.aircraft.power import thrust_limits

    case = flying()
    phase = configured(case, "cruise")
    by_power, capped = thrust_limits(case, phase, 52.0)["out"]
    # the motor's rpm limit: CT of the table at J = V/nD
    from blownwing.propeller.performance import read_performance

    turns = 3000.0 / 60.0
    ct, _ = read_performance(TABLE).coefficients(52.0 / (turns * 1.2), 3000.0)
    assert capped == pytest.approx(ct * phase.case.air.density * turns**2 * 1.2**4, rel=1e-9)
    assert by_power > capped
    polar = solved_polar(
        phase, 52.0, {"out": 0.6 * capped, "out_port": 0.6 * capped}
    )  # two idle ones windmill: power 0 in the table
    assert np.all(np.isfinite(polar.values))


def test_folded_propellers_have_a_drag_of_their_own():
    from blownwing.aircraft.configuration import configured, failed
    from blownwing.aircraft.polar import balanced, solved_polar

    case = flying().replace(**{"aircraft.cruise.idle_state": "folded"})
    heavy = case.replace(**{"propellers.in.folded_drag_area": 0.01})
    drags = []
    for one in (case, heavy):
        phase = configured(one, "cruise")
        polar = solved_polar(phase, 52.0, {"out": 300.0, "out_port": 300.0})
        drags.append(balanced(phase, polar.at(2.0), 52.0, polar.density).drag)
    # two idle ones: 2 q f
    assert drags[1] - drags[0] == pytest.approx(0.02 * 0.5 * polar.density * 52.0**2, rel=1e-9)
    out = failed(configured(heavy, "climb"), ("in",))
    assert out.folded_drag_area == pytest.approx(0.01)
