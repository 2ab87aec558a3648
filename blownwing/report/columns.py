"""Tables on a terminal or in a log that lose no number, however narrow it is."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

_GAP = 2


def print_columns(
    console: Console,
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    title: str = "",
    left: Collection[int] = (0,),
    kept: int = 1,
) -> None:
    """Print a table whose cells are never cut.

    Columns that do not fit side by side continue below, behind the first ones again.

    Args:
        heads, rows: texts, a head for every column.
        title: above the table.
        left: columns set flush left, the others flush right.
        kept: how many first columns stand before every part.
    """
    if title:
        console.print(Text(title, style="bold"), soft_wrap=True)
    width = [
        max(len(head), *(len(row[k]) for row in rows), 1) for k, head in enumerate(heads)
    ] if rows else [len(head) for head in heads]  # fmt: skip
    for number, part in enumerate(_parts(width, kept, console.width)):
        if number:
            console.print()
        _print_part(console, heads, rows, part, width, left)


def labelled(rows: Iterable[tuple[str, str, str]]) -> Table:
    """A grid of labels, values set bold and flush right, and words that may wrap."""
    table = Table.grid(padding=(0, 2))
    table.add_column(no_wrap=True)
    table.add_column(no_wrap=True, justify="right", style="bold")
    table.add_column()
    for row in rows:
        table.add_row(*map(Text, row))
    return table


def _parts(width: Sequence[int], kept: int, room: int) -> list[list[int]]:
    """Columns of every part: the kept ones, then as many as fit, at least one."""
    first = list(range(min(kept, len(width))))
    used = sum(width[k] + _GAP for k in first)
    parts: list[list[int]] = [[*first]]
    at = used
    for k in range(len(first), len(width)):
        if at + width[k] > room and len(parts[-1]) > len(first):
            parts.append([*first])
            at = used
        parts[-1].append(k)
        at += width[k] + _GAP
    return parts


def _print_part(
    console: Console,
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    part: Sequence[int],
    width: Sequence[int],
    left: Collection[int],
) -> None:
    def line(cells: Sequence[str]) -> str:
        texts = [cells[k].ljust(width[k]) if k in left else cells[k].rjust(width[k]) for k in part]
        return (" " * _GAP).join(texts).rstrip()

    console.print(Text(line(heads), style="underline"), soft_wrap=True)
    for row in rows:
        console.print(Text(line(row)), soft_wrap=True)


def digits(value: float, count: int = 5) -> str:
    """A number with so many digits, without an exponent where that is legible.

    count: significant digits.
    """
    if value == 0.0:
        return "0"
    size = abs(value)
    if not 1e-4 <= size < 1e7:
        return f"{value:.{count - 1}e}"
    places = max(count - 1 - int(f"{size:e}".split("e")[1]), 0)
    return f"{value:.{places}f}"
