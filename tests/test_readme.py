"""Every command of the README, run in order in a copy; its numbers, links and names checked."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest
from numpy.testing import assert_allclose

from blownwing.cli import app

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
DOCUMENTS = {"README.md": README, "DEVELOPERS.md": DEVELOPERS}

DEMONSTRATION = "pip install -e . && blownwing solve cases/short_field_eight.toml --figures"
TESTS = "pip install -e '.[test]' && pytest"
FENCE = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?")
CACHES = shutil.ignore_patterns(
    ".git", ".*_cache", "__pycache__", ".hypothesis", "*.h5", "*_figures"
)


@dataclass(frozen=True)
class Block:
    """A fenced block of the README."""

    language: str
    text: str

    @property
    def installs(self) -> bool:
        return "pip install" in self.text


BLOCKS = [Block(*match.groups()) for match in FENCE.finditer(README)]
STEPS = [b for b in BLOCKS if b.language in ("sh", "python") and not b.installs]


def run(block: Block, folder: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    command = ["bash", "-euo", "pipefail", "-c", block.text]
    if block.language == "python":
        command = [sys.executable, "-c", block.text]
    return subprocess.run(
        command,
        cwd=folder,
        env={k: v for k, v in os.environ.items() if k != "PYTHONPATH"} | environment,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=1800,
        check=False,
    )


@pytest.fixture(scope="module")
def tour(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with what the tour needs: cases, data and this interpreter's `blownwing`."""
    folder = tmp_path_factory.mktemp("tour")
    for name in ("cases", "shared"):
        shutil.copytree(ROOT / name, folder / name, ignore=CACHES)
    command = folder / "bin" / "blownwing"
    command.parent.mkdir()
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m blownwing.cli "$@"\n')
    command.chmod(0o755)
    return folder


@pytest.fixture(scope="module")
def outcomes(tour: Path) -> dict[str, subprocess.CompletedProcess[str]]:
    """All steps of the tour, run in order since later ones read what earlier ones wrote."""
    path = f"{tour / 'bin'}{os.pathsep}{os.environ['PATH']}"
    terminal = {"NO_COLOR": "1", "COLUMNS": "120", "PATH": path}
    return {step.text: run(step, tour, **terminal) for step in STEPS}


@pytest.mark.parametrize("step", STEPS, ids=[s.text.split("\n")[0][:40] for s in STEPS])
def test_step_of_the_tour(
    step: Block, outcomes: dict[str, subprocess.CompletedProcess[str]]
) -> None:
    done = outcomes[step.text]
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.strip()


def lines_agree(printed: str, promised: str) -> None:
    """Same words; numbers to one unit of the last digit that is printed."""
    assert NUMBER.sub("#", " ".join(printed.split())) == NUMBER.sub("#", " ".join(promised.split()))
    for found, wanted in zip(NUMBER.findall(printed), NUMBER.findall(promised), strict=True):
        last = 10.0 ** -len(wanted.partition(".")[2])
        assert_allclose(float(found), float(wanted), rtol=0.0, atol=1.01 * last)


def test_the_summary_shown_is_the_summary_printed(
    outcomes: dict[str, subprocess.CompletedProcess[str]],
) -> None:
    (shown,) = [b for b in BLOCKS if b.language == "text"]
    printed = outcomes["blownwing solve cases/short_field_eight.toml --figures\n"].stdout
    for promised in shown.text.splitlines():
        label = promised.split("  ")[0]
        (line,) = [p for p in printed.splitlines() if p.startswith(f"{label}  ")]
        lines_agree(line, promised)


def test_a_number_out_of_date_would_be_noticed() -> None:
    lines_agree("Lift   5264 N  CL 0.6631", "Lift  5265 N  CL 0.6630")
    for stale in ("Lift  5270 N  CL 0.6631", "Lift  5264 N  CL 0.6731", "Lift  5264 N  CD 0.6631"):
        with pytest.raises(AssertionError):
            lines_agree("Lift   5264 N  CL 0.6631", stale)


def lift_gain(text: str) -> float:
    (found,) = re.findall(r"unblown \(([-+][\d.]+) %\)", text)
    return float(found)


def test_what_the_tour_says_about_its_results(
    outcomes: dict[str, subprocess.CompletedProcess[str]], tour: Path
) -> None:
    printed = {name: done.stdout for name, done in outcomes.items()}
    plain = printed["blownwing solve cases/short_field_eight.toml --figures\n"]
    (reversed_tip,) = [t for name, t in printed.items() if "tip_reversed" in name]
    (no_edge,) = [t for name, t in printed.items() if "no_edge" in name]
    induced = [float(re.findall(r"induced ([\d.]+)", text)[0]) for text in (plain, reversed_tip)]
    assert lift_gain(reversed_tip) < lift_gain(plain)
    assert induced[1] > induced[0]
    assert 1.15 < lift_gain(no_edge) / lift_gain(plain) < 1.35  # "about a quarter larger"
    figures = {path.name for path in (tour / "short_field_eight_figures").iterdir()}
    assert figures == set(re.findall(r"`(\w+\.png)`", README))
    assert (tour / "svg_figures" / "span_loading.svg").is_file()
    assert (tour / "polar_strips.csv").is_file()


def test_the_two_one_line_commands_stand_at_the_top() -> None:
    assert [b.text.strip() for b in BLOCKS[:2]] == [DEMONSTRATION, TESTS]
    before = README.split("```")[0].strip().splitlines()
    assert before[0] == "# blownwing" and len([line for line in before if line]) == 2


@pytest.mark.parametrize("words", ["not for flight clearance", "licensed engineers decide"])
def test_the_caution_is_given(words: str) -> None:
    assert words in README


def test_every_command_is_in_the_table() -> None:
    names = {c.name or c.callback.__name__ for c in app.registered_commands if c.callback}
    assert {"solve", "plot", "check"} <= names
    rows = set(re.findall(r"^\| `blownwing ([\w-]+)", README, re.MULTILINE))
    assert rows == {name.replace("_", "-") for name in names}


def test_every_case_is_in_the_table() -> None:
    rows = set(re.findall(r"^\| `(\w+\.toml)`", README, re.MULTILINE))
    assert rows == {path.name for path in (ROOT / "cases").glob("*.toml")}


def broken_links(text: str) -> list[str]:
    """Links to headings that are missing, to files that are missing, and paths that are."""
    headings = re.findall(r"^#+ (.+)$", text, re.MULTILINE)
    anchors = {re.sub(r"[^\w\- ]", "", h.lower()).replace(" ", "-") for h in headings}
    links = re.findall(r"\]\(([^)\s]+)\)", text)
    lost = [a for a in links if a.startswith("#") and a[1:] not in anchors]
    lost += [a for a in links if a[0] != "#" and ":" not in a and not (ROOT / a).exists()]
    paths = re.findall(r"`((?:blownwing|tests|cases|shared|validation)/[\w./*-]*)`", text)
    return lost + [p for p in paths if not list(ROOT.glob(p.rstrip("/")))]


@pytest.mark.parametrize("name", DOCUMENTS)
def test_links_and_paths_lead_somewhere(name: str) -> None:
    assert broken_links(DOCUMENTS[name]) == []
    assert broken_links("[a](#gone) [b](gone.md) `tests/gone`") == [
        "#gone",
        "gone.md",
        "tests/gone",
    ]


def test_the_check_script_is_sound() -> None:
    script = ROOT / ".ci" / "run"
    assert os.access(script, os.X_OK)
    assert subprocess.run(["bash", "-n", str(script)], check=False).returncode == 0


@pytest.mark.slow
def test_both_commands_in_a_fresh_copy_and_environment(tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(ROOT, copy, ignore=CACHES)
    subprocess.run([sys.executable, "-m", "venv", str(tmp_path / "venv")], check=True)
    settings = {
        "PATH": f"{tmp_path / 'venv' / 'bin'}{os.pathsep}{os.environ['PATH']}",
        "NUMBA_CACHE_DIR": str(tmp_path / "numba"),
    }
    first, second = (run(block, copy, **settings) for block in BLOCKS[:2])
    assert first.returncode == 0, first.stderr
    assert "Written: short_field_eight.h5, short_field_eight_figures" in first.stdout
    assert (copy / "short_field_eight_figures" / "span_loading.png").stat().st_size > 10_000
    assert second.returncode == 0, second.stdout
    assert re.search(r"=+ \d+ passed", second.stdout.splitlines()[-1])
