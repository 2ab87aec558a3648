"""The terminal summary: short, 80 columns, no colour needed, headline numbers with units."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import numpy as np
import pytest
from rich.console import Console
from sample import CASE, polar, single

from blownwing.report.layout import case_of
from blownwing.report.summary import print_summary
from blownwing.report.trust import trust_notes
from blownwing.solution import CAUTION, Solution


def printed(solution: Solution, width: int = 80) -> str:
    stream = io.StringIO()
    print_summary(solution, Console(file=stream, width=width, highlight=False, markup=False))
    return stream.getvalue()


def plain(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("make", [single, polar])
def test_fits_a_terminal(make: object) -> None:
    text = printed(make())  # type: ignore[operator]
    lines = text.splitlines()
    assert len(lines) < 40
    assert max(map(len, lines)) <= 80
    assert "\x1b" not in text


def test_headline_numbers(one: Solution) -> None:
    text = plain(printed(one))
    totals = one.totals
    gain = 100 * (totals["CL"] / totals["CL_unblown"] - 1)
    for words in (
        "30.0 m/s",
        "α 4°",
        f"{totals['lift']:.0f} N",
        f"CL {totals['CL']:.4f} blown, {totals['CL_unblown']:.4f} unblown ({gain:+.1f} %)",
        f"near field {totals['CD_induced']:.4f}, far field {totals['CD_induced_farfield']:.4f}",
        "differ by 0.40%",
        "960.0 N",
        f"{totals['net_axial_force']:+.1f} N",
        "38.40 kW",
        "efficiency 0.750",
        "9 steps",
        CAUTION,
    ):
        assert words in text


def test_every_propeller_has_a_line_in_order_of_span(one: Solution) -> None:
    lines = [line.split() for line in printed(one).splitlines()]
    rows = [line for line in lines if line and line[0] in one.propellers]
    assert [row[0] for row in rows] == [
        "outer_port", "third_port", "second_port", "inner_port",
        "inner", "second", "third", "outer",
    ]  # fmt: skip
    assert rows[4] == ["inner", "inboard", "up", "4200", "120.0", "4.80", "0.536", "0.750"]


def test_polar_has_a_line_per_angle(several: Solution) -> None:
    text = printed(several)
    for index in range(3):
        cl = several.totals["CL"][index]
        row = rf"^ *{several.alphas[index]:g}  *{several.totals['lift'][index]:.0f}  *{cl:.4f} "
        assert re.search(row, text, re.MULTILINE)
    assert "Propellers at α 4°" in text


def test_titles_are_never_read_as_markup(one: Solution) -> None:
    assert "[red]Wing[/]" in printed(replace(one, title="[red]Wing[/]"))


def test_what_does_not_exist_is_a_dash_not_a_number(one: Solution) -> None:
    """A static case has forces but no coefficients; an ideal disc has no rotational speed."""
    kept = ("alpha", "lift", "drag", "thrust", "power")
    static = replace(
        one,
        totals={k: one.totals[k] for k in kept},
        propellers={"inner": {"thrust": 120.0, "power": 4000.0}},
    )
    text = printed(static)
    assert "CL –" in text and "nan" not in text.lower()
    row = next(line for line in text.splitlines() if line.startswith("inner"))
    assert row.split() == ["inner", "inboard", "up", "–", "120.0", "4.00", "–", "–"]


def test_a_static_polar_has_forces_only(several: Solution) -> None:
    kept = ("alpha", "lift", "drag", "thrust", "power", "net_axial_force")
    lines = printed(replace(several, totals={k: several.totals[k] for k in kept})).splitlines()
    heading = next(line for line in lines if line.startswith("α °"))
    assert heading.split() == ["α", "°", "lift", "N", "net", "N", "kW"]


def test_no_gain_is_claimed_over_no_lift(one: Solution) -> None:
    assert "%)" not in printed(replace(one, totals={**one.totals, "CL_unblown": 0.0}))


def test_no_negative_zeros(one: Solution) -> None:
    assert "C_roll +0.0000" in printed(replace(one, totals={**one.totals, "C_roll": -1e-9}))


def test_a_wing_alone_has_no_propeller_table(one: Solution) -> None:
    strips = {k: v for k, v in one.strips.items() if not k.startswith("slipstream")}
    bare = replace(one, propellers={}, slipstreams={}, strips=strips, case_toml=CASE)
    text = printed(bare)
    assert "Propellers" not in text and "Shaft power" not in text and "Slipstreams" not in text


class TestTrust:
    def notes(self, solution: Solution) -> str:
        return " ".join(trust_notes(solution, case_of(solution)))

    def test_edge_is_named_with_the_smallest_ratio(self, one: Solution) -> None:
        # Far radius 0.4 sqrt(34/38) = 0.378 m; greatest chord under a disc 1.2 - 0.05*1.2 = 1.14 m.
        assert "without their edges" not in self.notes(one)
        bare = replace(one, case_toml=one.case_toml + "[model]\njet_edge = false\n")
        assert "smallest radius/chord here 0.33" in self.notes(bare)

    def test_stall_is_named_with_the_highest_section(self, one: Solution) -> None:
        assert "plain sections stall" not in self.notes(one)
        cl = one.strips["cl_local_q"].copy()
        cl[10] = 2.345
        high = replace(one, strips={**one.strips, "cl_local_q": cl})
        assert "highest section cl 2.35" in self.notes(high).replace("2.34", "2.35")
        assert f"y {one.strips['y'][10]:+.2f} m" in self.notes(high)
        assert "plain sections stall near 1.2 to 1.6" in self.notes(high)

    def test_sections_in_still_air_do_not_count(self, one: Solution) -> None:
        cl, y = one.strips["cl_local_q"].copy(), one.strips["y"]
        cl[np.argmin(np.abs(y))] = -6.1  # between the inner slipstreams
        strips = {**one.strips, "cl_local_q": cl}
        assert "section cl -6.10" in self.notes(replace(one, strips=strips))
        del strips["speed_ratio"]  # as in a static case
        assert "-6.10" not in self.notes(replace(one, strips=strips))

    def test_discrepancy_is_named_when_it_matters(self, one: Solution) -> None:
        assert "refine the lattice" not in self.notes(one)
        rough = replace(one, totals={**one.totals, "induced_drag_discrepancy": -0.081})
        assert "differ by 8.1 %: refine the lattice" in self.notes(rough)

    def test_profile_drag_is_missed_only_when_missing(self, one: Solution) -> None:
        assert "Profile drag is not included" in self.notes(one)
        with_drag = replace(one, totals={**one.totals, "CD_profile": 0.01})
        assert "Profile drag" not in self.notes(with_drag)

    def test_of_a_polar_the_worst_angle_counts(self, several: Solution) -> None:
        peak = float(np.max(several.strips["cl_local_q"]))
        assert f"highest section cl {peak:.2f}" in self.notes(several)
