"""The look of every figure: sizes, colours that colour-blind readers tell apart, saving.

Colours after Okabe, M. and Ito, K., "Color Universal Design: how to make figures and
presentations that are friendly to colorblind people", 2008. Lines differ in dash as well, so that
a grey print still reads.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from blownwing.solution.files import write_whole

Format = Literal["png", "svg"]

BLACK, ORANGE, SKY, GREEN = "#000000", "#E69F00", "#56B4E9", "#009E73"
BLUE, VERMILION, PURPLE, GREY = "#0072B2", "#D55E00", "#CC79A7", "#777777"
SERIES = (BLUE, VERMILION, GREEN, PURPLE, ORANGE, SKY, BLACK)
DASHES = ("-", "--", "-.", ":")
BAND: dict[str, Any] = {"facecolor": SKY, "alpha": 0.22, "linewidth": 0.0}

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
}


def settings() -> Any:
    """Return a context in which figures have this look, whatever the user's own settings are."""
    look: Any = {k: v for k, v in matplotlib.rcParamsDefault.items() if k not in _PROCESS}
    look.update(_SETTINGS)
    return matplotlib.rc_context(look)


def new_figure(width: float = 9.0, height: float = 4.5) -> Figure:
    """Return an empty figure, inches, whose parts make room for one another."""
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


def save_figure(figure: Figure, path: Path, fmt: Format) -> Path:
    """Write the figure whole or not at all, without a date so that equal input gives equal bytes.

    Raises:
        InputError: the folder is missing or not writable.
    """
    metadata = {"Date": None} if fmt == "svg" else {"Software": None}
    return write_whole(path, lambda partial: figure.savefig(partial, format=fmt, metadata=metadata))
