"""The look of every figure: sizes, colours that colour-blind readers tell apart, saving.

Colours after Okabe, M. and Ito, K., "Color Universal Design: how to make figures and
presentations that are friendly to colorblind people", 2008, the lighter ones darkened until a line
on white or on a shaded slipstream has a contrast of 3:1 (World Wide Web Consortium, "Web Content
Accessibility Guidelines 2.1", 2018, criterion 1.4.11). Lines differ in dash as well, so that a grey
print still reads.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

import matplotlib
from matplotlib.axes import Axes
from matplotlib.contour import ContourSet
from matplotlib.figure import Figure

from blownwing.solution.files import write_whole

Format = Literal["png", "svg", "pdf"]

BLACK, ORANGE, SKY, GREEN = "#000000", "#9A6400", "#2C86B8", "#008A63"
BLUE, VERMILION, PURPLE, GREY = "#0072B2", "#C85400", "#B5588C", "#707070"
SERIES = (BLUE, VERMILION, GREEN, PURPLE, ORANGE, SKY, BLACK)
DASHES = ("-", "--", "-.", ":")
BAND: dict[str, Any] = {"facecolor": "#56B4E9", "alpha": 0.18, "linewidth": 0.0}

_PROCESS = {"backend", "backend_fallback", "toolbar", "interactive"}  # not a matter of looks
_SETTINGS: dict[str, Any] = {
    "font.size": 10.0,
    "axes.titlesize": 11.0,
    "axes.titlelocation": "left",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": "#dddddd",
    "grid.linewidth": 0.6,
    "axes.axisbelow": True,
    "lines.linewidth": 1.6,
    "legend.frameon": False,
    "legend.fontsize": 9.0,
    "savefig.dpi": 150,
    "svg.hashsalt": "blownwing",
    "text.usetex": False,
    "pdf.fonttype": 42,  # letters stay letters
}


def settings() -> Any:
    """Return a context in which figures have this look, whatever the user's own settings are."""
    look: Any = {k: v for k, v in matplotlib.rcParamsDefault.items() if k not in _PROCESS}
    look.update(_SETTINGS)
    return matplotlib.rc_context(look)


def new_figure(width: float = 9.0, height: float = 4.5) -> Figure:
    """Return an empty figure, width and height in inches, whose parts make room for one another."""
    return Figure(figsize=(width, height), layout="constrained")


def line_style(index: int) -> dict[str, Any]:
    """Return colour and dash of the line with this index; 28 lines differ."""
    return {
        "color": SERIES[index % len(SERIES)],
        "linestyle": DASHES[(index // len(SERIES) + index) % len(DASHES)],
    }


def head(axes: Axes, text: str) -> None:
    """Put a title in words above the axes; text of a user is never read as mathematics."""
    axes.set_title(text, parse_math=False)


def name(figure: Figure, title: str) -> None:
    """Put the case's or study's own title above all panels."""
    if title:
        figure.suptitle(
            title, x=0.01, ha="left", fontsize=10.0, color=GREY, parse_math=False, wrap=True
        )


def mark_cuts(figure: Figure) -> None:
    """Put two strokes at the foot of every linear value axis that does not reach down to 0."""
    for axes in figure.axes:
        if not axes.lines or axes.get_yscale() != "linear" or not axes.spines["left"].get_visible():
            continue
        if any(isinstance(item, ContourSet) for item in axes.collections):
            continue
        low, high = sorted(axes.get_ylim())
        if low > 0.0 or high < 0.0:
            for place in (0.015, 0.035):
                axes.annotate(
                    "", xy=(0.008, place + 0.012), xytext=(-0.008, place - 0.012),
                    xycoords="axes fraction", annotation_clip=False,
                    arrowprops={"arrowstyle": "-", "lw": 1.0, "shrinkA": 0, "shrinkB": 0},
                ).set_in_layout(False)  # fmt: skip


def save_figure(figure: Figure, path: Path, fmt: Format) -> Path:
    """Write the figure whole or not at all, without a date so that equal input gives equal bytes.

    Raises:
        InputError: the folder is missing or not writable.
        SolveError: the system refused while writing.
    """
    mark_cuts(figure)
    none = {"svg": ("Date",), "png": ("Software",), "pdf": ("CreationDate", "Producer", "Creator")}
    metadata = dict.fromkeys(none[fmt])
    return write_whole(path, lambda partial: figure.savefig(partial, format=fmt, metadata=metadata))


def save_figures(figures: Mapping[str, Figure], folder: Path, fmt: Format) -> list[Path]:
    """`save_figure` each under its name in a folder; raises as it does."""
    return [save_figure(one, folder / f"{name}.{fmt}", fmt) for name, one in figures.items()]
