"""One compared quantity: what was computed, what is published, and how far they may differ."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from blownwing.case.textfiles import input_text, row_words
from blownwing.errors import InputError

TAGS = {
    "printed": "printed in the source named, or read in its abstract",
    "measured": "measured, from an open data set",
    "evaluated": "a published formula, evaluated independently",
    "computed": "an independent computation of the published equations",
    "memory": "a published value recalled from memory, not read again",
}
"""What the tag of a value compared with says about where it comes from."""

PUBLISHED = ("printed", "measured")
"""Tags of values that somebody else measured or printed and that were read there."""

Kind = Literal["relative", "absolute", "below"]
KINDS = ("relative", "absolute", "below")
_COLUMNS = ("quantity", "value", "kind", "band", "tag", "note")


@dataclass(frozen=True)
class Row:
    """One comparison.

    Args:
        quantity: what is compared, with its conditions and units.
        computed: by this program.
        published: by the source.
        band: how far they may differ: of the published value (relative), as a difference
            (absolute); for ``below`` the computed value must not exceed the published one.
        source: author, year, title, number.
        tag: one of :data:`TAGS`.
        kind: how the band is meant.
        note: why it may differ; needed for a value outside its band.

    Raises:
        ValueError: a value that is not finite, an unknown tag or kind, or no source.
    """

    quantity: str
    computed: float
    published: float
    band: float
    source: str
    tag: str
    kind: Kind = "relative"
    note: str = ""

    def __post_init__(self) -> None:
        values = (self.computed, self.published, self.band)
        if not all(math.isfinite(value) for value in values) or self.band < 0.0:
            raise ValueError(f"{self.quantity}: found {values}; accepted are finite numbers")
        if self.tag not in TAGS or self.kind not in KINDS:
            raise ValueError(f"{self.quantity}: tag {self.tag!r} or kind {self.kind!r} unknown")
        if not self.source:
            raise ValueError(f"{self.quantity}: the source is missing")
        if self.kind == "relative" and self.published == 0.0:
            raise ValueError(f"{self.quantity}: a relative band about zero has no meaning")

    @property
    def error(self) -> float:
        """Computed less published, over the published value where the band is relative."""
        difference = self.computed - self.published
        return difference / abs(self.published) if self.kind == "relative" else difference

    @property
    def outside_world(self) -> bool:
        """Whether the other side was measured or printed by others, and read there."""
        return self.tag in PUBLISHED

    @property
    def inside(self) -> bool:
        """Whether the computed value is within its band."""
        return self.error <= 0.0 if self.kind == "below" else abs(self.error) <= self.band


def published_rows(folder: str | Path, computed: Mapping[str, float]) -> list[Row]:
    """Join the published values of an entry with what was computed.

    Args:
        folder: of the entry; its ``published.csv`` has the columns quantity, value, kind, band,
            tag and note, after comment lines of which ``# source:`` gives the source of the rows
            below it.
        computed: by quantity, one for each row.

    Raises:
        InputError: the file is missing or not of this form.
        ValueError: quantities that do not match, or a value that is not finite.
    """
    path = Path(folder) / "published.csv"
    rows: list[Row] = []
    source = ""
    for number, cells in _lines(path):
        if cells[0].startswith("#"):
            text = ",".join(cells).lstrip("# ")
            source = text.removeprefix("source:").strip() if text[:7] == "source:" else source
            continue
        values = dict(zip(_COLUMNS, cells, strict=False))
        if len(cells) != len(_COLUMNS) or values["kind"] not in KINDS:
            raise InputError(
                f"{path}, line {number}: accepted are the columns {', '.join(_COLUMNS)}"
            )
        name = values["quantity"]
        if name not in computed:
            raise ValueError(f"{path}, line {number}: {name!r} was not computed")
        try:
            value, band = float(values["value"]), float(values["band"])
        except ValueError:
            raise InputError(f"{path}, line {number}: value and band must be numbers") from None
        kind: Kind = values["kind"]  # type: ignore[assignment]  # one of KINDS, checked above
        row = Row(name, computed[name], value, band, source, values["tag"], kind, values["note"])
        rows.append(row)
    spare = set(computed) - {row.quantity for row in rows}
    if spare:
        raise ValueError(f"{path}: nothing published for {', '.join(sorted(spare))}")
    return rows


def _lines(path: Path) -> list[tuple[int, list[str]]]:
    """Numbered cells of all lines but empty ones and the header."""
    text = input_text(path)
    found = []
    for number, line in enumerate(text.splitlines(), start=1):
        cells = (
            [line]
            if line.startswith("#")
            else row_words(line, f"{path}, line {number}")
            if line.strip()
            else []
        )
        if cells and tuple(cells) != _COLUMNS:
            found.append((number, cells))
    return found
