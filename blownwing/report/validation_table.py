"""The comparisons with measured, printed and computed values on the terminal."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from blownwing.solution import CAUTION
from blownwing.validation import Outcome, Row

WANTED = 0.9  # share of rows inside their bands


def number(value: float) -> str:
    """Return a compared value with six digits at most."""
    return f"{value:z.6g}"


def error_text(row: Row) -> str:
    """Return the error as the band is meant: in per cent or as a difference."""
    return f"{100.0 * row.error:+z.3g} %" if row.kind == "relative" else f"{row.error:+z.2g}"


def band_text(row: Row) -> str:
    """Return the band in the same form."""
    if row.kind == "below":
        return "not above"
    return f"±{100.0 * row.band:g} %" if row.kind == "relative" else f"±{row.band:g}"


def counted(outcomes: Sequence[Outcome]) -> tuple[int, int]:
    """Return the numbers of rows inside their bands and of all rows."""
    rows = [row for outcome in outcomes for row in outcome.rows]
    return sum(row.inside for row in rows), len(rows)


def accepted(outcomes: Sequence[Outcome]) -> bool:
    """Whether enough rows are inside their bands and every other one is explained."""
    inside, total = counted(outcomes)
    explained = all(row.inside or row.note for outcome in outcomes for row in outcome.rows)
    return explained and inside >= WANTED * total


def verdict(outcomes: Sequence[Outcome]) -> str:
    """Return the result in one sentence."""
    rows = [row for outcome in outcomes for row in outcome.rows]
    others, own = ([row for row in rows if row.outside_world is side] for side in (True, False))
    seconds = sum(outcome.seconds for outcome in outcomes)
    return (
        f"{len(outcomes)} entries. Measured or printed by others: "
        f"{_share(others)}. From memory, a formula evaluated or "
        f"an independent computation: {_share(own)}. "
        f"{seconds:.0f} s."
    )


def _share(rows: Sequence[Row]) -> str:
    """How many rows are inside their bands."""
    inside = sum(row.inside for row in rows)
    if not rows:
        return "no values"
    return f"{inside} of {len(rows)} values inside their bands ({100.0 * inside / len(rows):.1f} %)"


def other_side(rows: Sequence[Row]) -> str:
    """Return the head of the column of values compared with: published only what others did."""
    return "published" if all(row.outside_world for row in rows) else "reference"


def print_outcome(outcome: Outcome, console: Console) -> None:
    """Print the rows of one entry, with what it is held against."""
    table = Table(
        box=None, pad_edge=False, padding=(0, 2, 0, 0), title=f"{outcome.name}: {outcome.title}",
        title_justify="left", title_style="bold", header_style="underline",
    )  # fmt: skip
    table.add_column("quantity", overflow="fold", ratio=1)
    for name in ("computed", other_side(outcome.rows), "error", "band"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("tag", no_wrap=True)
    table.add_column("", no_wrap=True)
    for row in outcome.rows:
        cells = (
            row.quantity, number(row.computed), number(row.published), error_text(row),
            band_text(row), row.tag, "" if row.inside else "OUTSIDE",
        )  # fmt: skip
        table.add_row(*(Text(cell) for cell in cells))
    console.print(table)
    for source in dict.fromkeys(row.source for row in outcome.rows):
        console.print(Text(f"Source: {source}", style="dim"))
    for row in outcome.rows:
        if not row.inside:
            console.print(Text(f"Outside: {row.quantity}: {row.note or 'not explained'}"))
    console.print()


def print_verdict(outcomes: Sequence[Outcome], console: Console) -> None:
    """Print the count and the caution."""
    console.print(Text(verdict(outcomes), style="bold"))
    console.print(Text(CAUTION, style="italic"))
