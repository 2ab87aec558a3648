"""Results in words, as a terminal and a page say them: one text for both."""

from __future__ import annotations

from collections.abc import Collection

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from blownwing.report import html
from blownwing.report.columns import labelled
from blownwing.solution.groups import Words
from blownwing.solution.model import CAUTION

WARNINGS = "Warnings"
ASSUMED = "What was assumed"


def print_lead(heading: str, words: Words, console: Console) -> None:
    """Print what the results are of."""
    console.print(Text(heading, style="bold"))
    if words.lead:
        console.print(Text(words.lead))


def print_rest(words: Words, console: Console) -> None:
    """Print sections, lists and the caution; fits 80 columns and needs no colour."""
    for title, rows in words.sections:
        console.print()
        console.print(Text(title, style="bold"))
        console.print(Padding(labelled(rows), (0, 0, 0, 2)))
    for title, lines in words.lists:
        console.print()
        console.print(Text(title, style="bold"))
        for line in lines:
            console.print(Padding(Text(line), (0, 0, 0, 2)))
    console.print(Padding(Text(CAUTION, style="italic"), (0, 0, 0, 2)))


def print_words(heading: str, words: Words, console: Console) -> None:
    """Print all of it."""
    print_lead(heading, words, console)
    print_rest(words, console)


def sections_markup(words: Words) -> list[str]:
    """Warnings and sections of a page."""
    parts = _lists(words, {WARNINGS})
    for name, rows in words.sections:
        parts += [html.heading(name), html.table(("", "value", "how it comes about"), rows)]
    return parts


def lists_markup(words: Words) -> list[str]:
    """The other lists of a page."""
    return _lists(words, {name for name, _ in words.lists} - {WARNINGS})


def _lists(words: Words, wanted: Collection[str]) -> list[str]:
    return [
        part
        for name, lines in words.lists
        if name in wanted
        for part in (html.heading(name), html.bullets(lines))
    ]
