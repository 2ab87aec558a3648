"""The figures of the note on slipstream edges; `compare.py` draws them."""

from __future__ import annotations

import numpy as np
from compare import (
    HERE,
    chain,
    computed,
    increment,
    jet,
    lift_factor,
    line_shares,
    open_jet_factor,
    plate,
    scene,
    solve,
    strip_convergence,
)

from blownwing.report import style


def draw() -> None:
    """All figures."""
    with style.settings():
        for name, figure in (
            ("increments", increment_figure()),
            ("limits", limit_figure()),
            ("span_loading", loading_figure()),
            ("convergence", convergence_figure()),
        ):
            figure.savefig(HERE / f"{name}.png", metadata={"Software": None})


def increment_figure() -> style.Figure:
    """Increment over R/c and over μ, with and without the edge."""
    figure = style.new_figure(10.0, 4.4)
    left, right = figure.subplots(1, 2)
    edge, plain = computed("increment_edge"), computed("increment_plain")
    radii = np.array([0.15, 0.2, 0.25, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0])
    ratios = np.array([1.0, 1.1, 1.2, 1.35, 1.5, 1.75, 2.0, 2.25])
    for ratio, colour in ((1.5, style.BLUE), (2.0, style.VERMILION)):
        for on, dash, label in ((True, "-", "edge"), (False, "--", "superposed")):
            values = [chain(float(r), ratio, on) for r in radii]
            left.loglog(radii, values, dash, color=colour, label=f"Vj/V = {ratio:g}, {label}")
        for table, mark in ((edge, "o"), (plain, "s")):
            at = [(a, v) for (a, b), v in table.items() if b == ratio]
            left.plot(*zip(*at, strict=True), mark, mfc="white", color=colour, ms=5)
    for radius, colour in ((0.5, style.BLUE), (1.0, style.VERMILION)):
        for on, dash, label in ((True, "-", "edge"), (False, "--", "superposed")):
            values = [chain(radius, float(m), on) for m in ratios]
            right.plot(ratios, values, dash, color=colour, label=f"R/c = {radius:g}, {label}")
        for table, mark in ((edge, "o"), (plain, "s")):
            at = [(b, v) for (a, b), v in table.items() if a == radius]
            right.plot(*zip(*at, strict=True), mark, mfc="white", color=colour, ms=5)
    left.set(xlabel="Jet radius over chord R/c", ylabel="Increment ΔCL / CL unblown")
    left.set_xticks([0.2, 0.5, 1.0, 2.0], ["0.2", "0.5", "1", "2"])
    left.minorticks_off()
    right.set(xlabel="Jet speed over airspeed Vj/V", ylabel="Increment ΔCL / CL unblown")
    style.head(left, "Narrow jets: the edge takes most of the increment")
    style.head(right, "Marks: independent prototype")
    for axes in (left, right):
        axes.legend()
    return figure


def limit_figure() -> style.Figure:
    """Open jet, lifting line and plane jet."""
    figure = style.new_figure(12.0, 4.2)
    first, second, third = figure.subplots(1, 3)
    sizes = np.array([0.05, 0.1, 0.2, 0.3, 0.4])
    for i, aspect in enumerate((4.0, 8.0)):
        factor = [-open_jet_factor(aspect, float(s)) for s in sizes]
        first.plot(sizes, factor, "o-", ms=4, **_colour(i), label=f"lattice, A = {aspect:g}")
    xi = np.linspace(0.0, 0.42, 40)
    series = 0.125 * (1.0 + 3.0 / 16.0 * xi**4 + 5.0 / 64.0 * xi**8)
    first.plot(xi, series, color=style.BLACK, label="elliptic line (Glauert)")
    first.set(xlabel="Span over jet diameter", ylabel="−δ, open jet", xlim=(0, 0.42))
    style.head(first, "Still air outside")
    aspects = (6.0, 12.0, 24.0, 48.0, 96.0)
    chord = [1.0 / (0.15 * a) for a in aspects]
    for i, ratio in enumerate((1.25, 1.5, 2.0)):
        second.plot(
            chord, line_shares(ratio, aspects), "o-", ms=4, **_colour(i), label=f"Vj/V = {ratio:g}"
        )
    second.axhline(1.0, color=style.BLACK, lw=1.0)
    second.set(xlabel="Chord over jet radius c/R", xlim=(0, 1.2))
    second.set_ylabel("CLα lattice / lifting line")
    style.head(second, "Lifting line with Koning's images")
    heights = np.linspace(0.05, 2.0, 30)
    for i, ratio in enumerate((1.25, 1.5, 2.0)):
        third.plot(heights, [lift_factor(float(h), ratio) for h in heights], **_colour(i),
                   label=f"Vj/V = {ratio:g}")  # fmt: skip
        at = [(a, v) for (a, b), v in computed("plane_jet").items() if b == ratio]
        third.plot(*zip(*at, strict=True), "o", mfc="white", ms=5, color=_colour(i)["color"])
    third.plot(heights, [lift_factor(float(h), 100.0, reach=500.0) for h in heights],
               color=style.PURPLE, label="Vj/V = 100")  # fmt: skip
    k = 0.5 * np.pi * heights
    third.plot(heights, np.tanh(k) / k, ":", color=style.BLACK, label="still air, tanh(k)/k")
    third.set(xlabel="Chord over jet height c/H", ylabel="K, lift / strip lift in the jet")
    style.head(third, "Plane jet (marks: image series)")
    for axes in (first, second, third):
        axes.legend()
    return figure


def _colour(index: int) -> dict[str, str]:
    return {"color": style.SERIES[index]}


def loading_figure() -> style.Figure:
    """Γ along the span of the plate, and V·Γ next to the edge."""
    figure = style.new_figure(10.0, 4.2)
    left, right = figure.subplots(1, 2)
    for i, around in enumerate((12, 24, 48)):
        wing = plate(4.0, 0.5, 20, 30, tube=(around, 24))
        strength, clean = wing.strip_strengths(2.0), wing.strip_strengths(1.0)
        lattice = wing.lattice
        y = lattice.edge_y[:-1] + lattice.fraction * lattice.width
        inside = y < wing.radius
        look = {**_colour(i), "marker": ".", "ms": 4, "lw": 1.0}
        for part, speed in ((inside, 2.0), (~inside, 1.0)):
            label = f"{around} panels around half the tube" if speed == 1.0 else None
            left.plot(y[part], speed * strength[part] / clean[0], **look, label=label)
            right.plot(y[part], speed**2 * strength[part] / clean[0], **look, label=label)
    left.plot(y, clean / clean[0], "--", color=style.GREY, lw=1.0, label="unblown")
    for axes in (left, right):
        axes.axvline(0.5, color=style.BLACK, lw=0.7)
        axes.set_xlabel("Spanwise position y/c")
        axes.legend()
    left.set(xlim=(0, 2.0), ylim=(0, 1.6), ylabel="Γ over unblown root value")
    right.set(xlim=(0.44, 0.56), ylim=(1.1, 1.6))
    right.set_ylabel("V·Γ (lift per span) over unblown root value")
    style.head(left, "Γ jumps by Vj/V = 2 at the edge")
    style.head(right, "Lift per span is continuous; the gap goes with the panels")
    return figure


def convergence_figure() -> style.Figure:
    """Increment over strips for both kinds of collocation, and over tube panels."""
    figure = style.new_figure(10.0, 4.2)
    left, right = figure.subplots(1, 2)
    for i, (radius, ratio) in enumerate(((0.25, 1.5), (0.5, 1.5), (0.5, 2.0))):
        counts, angle = strip_convergence(radius, ratio, middle=False)
        limit = angle[-1]
        at, middle = strip_convergence(radius, ratio, middle=True)
        name = f"R/c {radius:g}, Vj/V {ratio:g}"
        left.semilogx(at, np.array(middle) / limit, "o--", ms=4, **_colour(i),
                      label=f"{name}, middles")  # fmt: skip
        left.semilogx(counts, np.array(angle) / limit, "s-", ms=4, **_colour(i),
                      label=f"{name}, middle angles")  # fmt: skip
        left.plot(14, computed("increment_edge")[radius, ratio] / limit, "x", ms=9,
                  color=style.SERIES[i])  # fmt: skip
    left.set(xlabel="Strips on half the jet", ylabel="Increment over its limit")
    left.set_xticks([4, 7, 14, 28, 56], ["4", "7", "14", "28", "56"])
    left.minorticks_off()
    style.head(left, "Strips (crosses: the prototype)")
    factors = (0.5, 1.0, 2.0, 4.0)
    for i, (y, radius, ratio) in enumerate(((0, 0.25, 1.5), (0, 0.5, 2.0), (0, 1.0, 2.0),
                                            (2, 0.5, 2.0), (2, 1.0, 2.0))):  # fmt: skip
        found = [
            increment(solve(scene([jet(radius, ratio, y=float(y), along=2.0)],
                                  model={"jet_around": int(36 * f), "jet_rings": int(16 * f)})))
            for f in factors
        ]  # fmt: skip
        where = "middle" if y == 0 else "pair"
        share = np.array(found) / found[-1]
        right.semilogx(factors, share, marker="o", ms=4, **style.line_style(i),
                       label=f"{where}, R/c {radius:g}, Vj/V {ratio:g}")  # fmt: skip
    right.set(xlabel="Tube panels each way over the default", ylabel="Increment over the finest")
    right.set_xticks(factors, ["½", "1", "2", "4"])
    right.minorticks_off()
    style.head(right, "Panels of the tubes")
    for axes in (left, right):
        axes.legend(fontsize=7.5)
    return figure
