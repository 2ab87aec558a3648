"""The ledger of claims and all that quotes it: README, tests, entries, pages."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from blownwing.validation import run_entries
from blownwing.validation.claims import TAGS, Claim, bar, claims, with_table
from blownwing.validation.entries import entry_folders

ROOT = Path(__file__).parents[2]
CLAIMS = list(claims().values())


def test_the_readme_shows_the_ledger() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert with_table(text) == text, "run python -m blownwing.validation.claims"
    with pytest.raises(ValueError, match="the marks"):
        with_table("no table here")


@pytest.mark.parametrize("claim", CLAIMS, ids=lambda c: c.name)
def test_a_claim_is_held_where_it_says(claim: Claim) -> None:
    assert claim.tag in TAGS
    if not claim.held and not claim.entries:
        assert claim.tag == "memory" and "not tested" in claim.against
    for path in claim.held:
        source = (ROOT / path).read_text(encoding="utf-8")
        assert re.search(rf'bar\(\s*"{claim.name}"', source), f"{path} asks for no bar of it"
    for entry in claim.entries:
        assert (ROOT / "validation" / entry / "entry.py").is_file()
    for what in claim.bars:
        assert 0.0 < bar(claim.name, what) < 1.0


def test_bars_that_tests_ask_for_are_in_the_ledger() -> None:
    files = [*(ROOT / "tests").rglob("test_*.py"), *(ROOT / "validation").rglob("*.py")]
    asked = 0
    for path in files:
        source = path.read_text(encoding="utf-8")
        if "validation.claims import" not in source or path == Path(__file__):
            continue
        for name in re.findall(r'\bbar\(\s*"(\w+)"', source):
            relative = path.relative_to(ROOT).as_posix()
            assert relative in claims()[name].held, f"{relative} holds {name} unsaid"
            asked += 1
    assert asked > 30


@pytest.mark.parametrize("claim", [c for c in CLAIMS if c.shown], ids=lambda c: c.name)
def test_what_is_shown_is_what_the_entry_computes(claim: Claim) -> None:
    for name, quantity, text in claim.shown:
        (outcome,) = run_entries(entry_folders(ROOT / "validation", (name,)))
        row = next(row for row in outcome.rows if row.quantity == quantity)
        assert text in claim.found
        number = text.replace("−", "-").removesuffix(" %").removeprefix("+")
        value = 100.0 * row.error if text.endswith(" %") else row.computed
        assert f"{value:.{len(number.partition('.')[2])}f}" == number
