"""The ledger of claims: what is said of the accuracy, read by README, pages and tests alike."""

from __future__ import annotations

import sys
import tomllib
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from blownwing.validation.rows import TAGS as ROW_TAGS

TAGS = ROW_TAGS | {"identity": "equal in theory, both sides computed by this program"}
"""What the tag of a claim says about the other side of the comparison."""

BEGIN, END = "<!-- claims: made by python -m blownwing.validation.claims -->", "<!-- end -->"


@dataclass(frozen=True)
class Claim:
    """One claim; the fields are told at the head of claims.toml."""

    name: str
    quantity: str
    against: str
    tag: str
    found: str
    bars: dict[str, str] = field(default_factory=dict)
    held: tuple[str, ...] = ()
    entries: tuple[str, ...] = ()
    shown: tuple[tuple[str, str, str], ...] = ()
    page: str = ""


@cache
def claims() -> dict[str, Claim]:
    """Return all claims by name, in the order of the file."""
    text = Path(__file__).with_suffix(".toml").read_text(encoding="utf-8")
    rows = tomllib.loads(text)["claim"]
    return {row["name"]: Claim(**{k: _fixed(v) for k, v in row.items()}) for row in rows}


def _fixed(value: Any) -> Any:
    """The value with tuples for lists."""
    return tuple(map(_fixed, value)) if isinstance(value, list) else value


def bar(name: str, what: str | None = None) -> float:
    """Return the largest deviation that tests of a claim accept; a fraction where given in %.

    Args:
        name: of the claim.
        what: which of its bars; needed where there are several.
    """
    bars = claims()[name].bars
    (text,) = bars.values() if what is None else (bars[what],)
    return float(text.removesuffix(" %")) * (0.01 if text.endswith(" %") else 1.0)


def said(*names: str) -> str:
    """Return how a page says these claims."""
    return ", ".join(claims()[name].page for name in names)


def readme_table() -> str:
    """Return the table of claims as the README has it, between its marks."""
    lines = [
        BEGIN,
        "",
        "| quantity | against | tag | found | tests accept | held in |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for claim in claims().values():
        bars = ", ".join(f"{what} {text}" for what, text in claim.bars.items()) or "–"
        places = [str(Path(path).parent) for path in claim.held if path.startswith("tests")]
        places += [f"validation/{entry}" for entry in claim.entries]
        where = ", ".join(f"`{place}`" for place in dict.fromkeys(places))
        cells = (claim.quantity, claim.against, claim.tag, claim.found, bars, where)
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join([*lines, "", END])


def with_table(text: str) -> str:
    """Return a text whose table of claims, between the marks, is that of the ledger.

    Raises:
        ValueError: the text has no marks.
    """
    before, _, rest = text.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not end:
        raise ValueError(f"the marks {BEGIN} and {END} are missing")
    return before + readme_table() + after


if __name__ == "__main__":
    place = Path(sys.argv[1] if len(sys.argv) > 1 else "README.md")
    place.write_text(with_table(place.read_text(encoding="utf-8")), encoding="utf-8")
