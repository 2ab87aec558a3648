"""The figures of the free-ring model; `compare.py` draws them."""

from __future__ import annotations

import math

import numpy as np
from compare import HERE, WINGS, loads, program, rings

from blownwing.report import style


def draw() -> None:
    """All figures."""
    with style.settings():
        for name, figure in (("span_loads", load_figure()), ("slipstreams", stream_figure())):
            figure.savefig(HERE / f"{name}.png", metadata={"Software": None})


def load_figure() -> style.Figure:
    """Load along the span: rings and program, blown and unblown."""
    figure = style.new_figure(11.0, 7.0)
    for axes, (size, ahead) in zip(figure.subplots(2, 2).flat, WINGS, strict=True):
        y, _, blown, clean = loads(size, ahead)
        strips = program(size, ahead).strips
        right = y >= 0.0
        axes.plot(y[right], blown[right], "o", ms=3.5, mfc="white", color=style.BLUE,
                  label="free rings")  # fmt: skip
        axes.plot(y[right], clean[right], "s", ms=2.5, mfc="white", color=style.GREY,
                  label="free rings' wing, unblown")  # fmt: skip
        side = strips["y"] >= 0.0
        order = np.argsort(strips["y"][side])
        for key, look, words in (
            ("cl", {"color": style.VERMILION}, "program"),
            ("cl_unblown", {"color": style.BLACK, "ls": "--", "lw": 1.0}, "program, unblown"),
        ):
            values = (strips[key] * strips["chord"])[side][order]
            axes.plot(strips["y"][side][order], values, label=words, **look)
        edge = size * math.sqrt(0.5 * 2.5 / 1.5)
        axes.axvline(edge, color=style.BLACK, lw=0.7, ls=":", label="far edge of the slipstream")
        axes.set(xlim=(0.0, 4.0), ylim=(0.0, None), xlabel="Spanwise position y/c",
                 ylabel="Load c·cl / c, free-stream q")  # fmt: skip
        style.head(axes, f"R/c = {size:g}, disc {ahead:g} c ahead")
        axes.legend(fontsize=8)
    return figure


def stream_figure() -> style.Figure:
    """Direction inside the slipstream: inclined disc; disc between two line vortices."""
    figure = style.new_figure(11.0, 4.4)
    left, right = figure.subplots(1, 2)
    for i, ratio in enumerate((1.1, 1.5, 2.0, 3.0)):
        colour = style.SERIES[i]
        for suffix, look in (("", "o"), (", tube of the far radius", "-")):
            found = rings(f"inclined mu {ratio:g}{suffix}", "flow angle inside over alpha")
            x = [float(p[4:-2]) for p in found]
            label = f"Vj/V = {ratio:g}" if look == "-" else None
            left.plot(x, list(found.values()), look, color=colour, mfc="white", label=label)
        left.axhline(1.0 - ratio * (ratio - 1.0) / (ratio**2 + 1.0), color=colour, lw=0.8, ls=":")
    left.set(xlabel="Distance behind the disc x/R", ylabel="Flow angle to the disc axis over α",
             ylim=(0.0, 1.05))  # fmt: skip
    style.head(left, "Inclined disc (marks: rings, lines: tube, dots: 1 − ε/α)")
    for i, ratio in enumerate((1.5, 2.0)):
        colour = style.SERIES[i]
        name = f"lines mu {ratio:g}"
        angle, cross = rings(name, "flow angle"), rings(name, "cross-flow over V")
        x = [float(p[4:-2]) for p in angle]
        ours = [1e3 * (cross[p] if "-" in p else v) for p, v in angle.items()]
        right.plot(x, ours, "o", color=colour, mfc="white", label=f"Vj/V = {ratio:g}, rings")
        for end, dash, words in (
            ("tube of the far radius", "-", "tube"),
            ("tube without the disc's condition", "--", "tube, no disc condition"),
        ):
            found = rings(f"{name}, {end}", "flow angle")
            values = [1e3 * v for v in found.values()]
            right.plot(x, values, dash, color=colour, lw=1.2, label=f"Vj/V = {ratio:g}, {words}")
    alone = rings("lines without a disc", "flow angle")
    right.plot(x, [1e3 * v for v in alone.values()], ":", color=style.GREY, label="without a disc")
    right.axvline(0.0, color=style.BLACK, lw=0.7)
    right.set(xlabel="Distance behind the disc x/R", ylabel="Flow angle on the axis, rad / 1000")
    style.head(right, "Disc between two line vortices")
    left.legend()
    right.legend(fontsize=8)
    return figure
