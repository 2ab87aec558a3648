"""The explanation of a case says what is in the case."""

from __future__ import annotations

import io

import pytest
from rich.console import Console
from sample import CASE, PROPELLER, case_text

from blownwing.case.reader import parse_case
from blownwing.report.explain import print_case


def explained(text: str) -> str:
    stream = io.StringIO()
    print_case(parse_case(text), Console(file=stream, width=80, highlight=False, markup=False))
    assert max(map(len, stream.getvalue().splitlines())) <= 80
    return " ".join(stream.getvalue().split())


def test_names_the_size_of_the_work() -> None:
    words = explained(case_text())
    assert "8 in all, 4 of them mirrored twins" in words
    # 8 x (32 + 4 strips at each of 8 edges) panels and doublets at 12 places of 16 rings of 4
    # tubes, 8 bytes an entry.
    assert "512 unknowns, strips at slipstream edges included, and 768 on the" in words
    assert "slipstreams' edges: 12.5 MiB for their influence" in words
    assert "the half span is solved and mirrored" in words
    assert "aspect ratio 11.43" in words  # 12² / 12.6
    assert words.count("thrust 120 N by rpm; mirrored as ") == 4
    assert "second_port, outboard up" in words


def test_sideslip_doubles_the_lattice() -> None:
    words = explained(case_text().replace("alpha = 4.0", "alpha = [0, 2, 4]\nbeta = 5.0"))
    assert "1024 unknowns" in words and "1536 on the slipstreams' edges: 50.0 MiB" in words
    assert "the whole span is solved" in words
    assert "a polar of 3 angles of attack: 0, 2, 4°; sideslip 5°" in words


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ("rpm = 3000.0", "3000 rpm"),
        ("rpm = 0.0", "stopped"),
        ("power = 5000.0", "power 5000 W by rpm"),
        ('thrust = 100.0\nrpm = 3000.0\ntrim = "pitch"', "thrust 100 N by pitch at 3000 rpm"),
    ],
)
def test_says_how_a_propeller_runs(lines: str, words: str) -> None:
    text = PROPELLER.format(name="one", y=2.0, spin="inboard_up").replace("thrust = 120.0", lines)
    assert f"5 blades, inboard up, {words}" in explained(CASE + text)


def test_names_the_spin_of_a_twin_that_is_not_mirrored() -> None:
    text = PROPELLER.format(name="one", y=2.0, spin="inboard_up") + 'twin_spin = "outboard_up"\n'
    words = explained(CASE + text)
    assert "inboard up, thrust 120 N by rpm; mirrored as one_port, outboard up" in words
    assert "the whole span is solved" in words


def test_discs_and_tilts() -> None:
    disc = (
        '[[propellers]]\nname = "ideal"\nkind = "disc"\nposition = [-0.5, 2.0, 0.0]\n'
        "diameter = 0.8\nincidence = 3.0\ntoe = -2.0\nspeed_ratio = 1.5\n"
    )
    words = explained(CASE + disc)
    assert "ideal disc without swirl" in words
    assert "axis 3° nose up, axis -2° nose to starboard" in words
    assert "jet of 1.5 times the airspeed" in words


def test_a_wing_alone() -> None:
    assert "the wing alone is solved" in explained(CASE)
