"""The report of a result: one page for a reader who did not run the case."""

from __future__ import annotations

import io
from collections.abc import Mapping
from datetime import datetime
from html import escape
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from rich.console import Console

from blownwing import __version__
from blownwing.case.model import Case
from blownwing.report import html, style
from blownwing.report.blade_figures import blade_loads
from blownwing.report.explain import HALF, print_case
from blownwing.report.history_figures import convergence_history, lift_and_drag, lift_curve
from blownwing.report.layout import case_of, discs_of
from blownwing.report.lift_summary import TRUST, peak_cells, peak_lines
from blownwing.report.trim_html import aircraft_sections
from blownwing.report.trust import trust_notes
from blownwing.report.wing_figures import plan_view, slipstream_velocities, span_loading
from blownwing.solution import CAUTION, VARIABLES, Solution
from blownwing.solution.files import write_text
from blownwing.validation.claims import said

# What each headline number was held against, in the ledger's words.
_LATTICE = said("textbook_lattice", "swept_wing_measured")
_BLOWN = said("free_rings")
_ROTOR = said("isolated_propellers")
_REST = said("propellers_at_rest")


def write_report(solution: Solution, path: str | Path) -> Path:
    """Write the report of ``solution`` to ``path``: one file, nothing loaded from elsewhere.

    Raises:
        InputError: the place cannot be written, or the stored case cannot be read.
        SolveError: the system refused while writing.
    """
    text = report_page(solution)
    return write_text(path, text)


def report_page(solution: Solution) -> str:
    """Return the report as the text of an HTML page.

    Raises:
        InputError: the case text stored in the solution cannot be read.
    """
    case = case_of(solution)
    one = solution.at(len(solution.alphas) // 2) if solution.polar else solution
    title = solution.title or "Untitled case"
    body = [
        f"<h1>{escape(title)}</h1>",
        html.paragraph(
            f"Wing and propeller aerodynamics, computed {when(solution.created)} by blownwing "
            f"{solution.version}; report by version {__version__}.",
            "lead",
        ),
        html.paragraph(CAUTION, "caution"),
        html.heading(_at("Headline numbers", solution, one)),
        *half_words(case),
        _headline(one),
        html.paragraph(
            "Thrust is the axial force on the blades, wing drag is everything on the wing, "
            "slipstreams included, and the net axial force is their sum along the flight path. "
            "Unblown is the same wing at the same incidence with the propellers taken away."
        ),
        *_peaks(solution),
        *_polar(solution),
        *_bands(solution),
        html.heading("How far to trust this"),
        html.bullets(trust_notes(solution, case)),
        html.heading("The job"),
        html.text_block(_job(case)),
        html.heading("Figures"),
        *_figures(solution, one, case),
        *_propellers(solution, one, case),
        *aircraft_sections(one),
        html.heading(_at("Along the span", solution, one)),
        _strips(one),
        html.heading("Convergence"),
        _convergence(solution),
        html.heading("The whole input"),
        html.text_block(solution.case_toml),
    ]
    return html.page(title, body)


def half_words(case: Case) -> list[str]:
    """A paragraph that says whose the forces are, for a half model on a reflection plane."""
    return [html.paragraph(HALF)] if case.wing.half_model else []


def _job(case: Case) -> str:
    """The case in words, as the command line explains it."""
    stream = io.StringIO()
    print_case(case, Console(file=stream, width=100, highlight=False, markup=False, emoji=False))
    return "\n".join(line.rstrip() for line in stream.getvalue().splitlines())


def _at(text: str, solution: Solution, one: Solution) -> str:
    return f"{text} at α {one.totals['alpha']:g}°" if solution.polar else text


def when(created: str) -> str:
    """A time as people write it; what is no time stays as it is."""
    try:
        return f"{datetime.fromisoformat(created):%d %B %Y, %H:%M} UTC"
    except ValueError:
        return created


_NOTHING = 1e-12  # below it a value is round-off of a zero


def plain_number(value: float, digits: int = 4) -> str:
    """Return a value with significant digits, without exponents where they are not needed."""
    if abs(value) < _NOTHING:
        return "0"
    size = abs(value)
    if not 1e-4 <= size < 1e7:
        return f"{value:.{digits - 1}e}"
    decimals = max(digits - 1 - int(f"{size:e}".split("e")[1]), 0)
    return f"{value:,.{decimals}f}".replace(",", " ")


def _headline(one: Solution) -> str:
    totals = one.totals
    blown, halved = bool(one.propellers), "half_lift" in one.totals
    held = {
        "lift": f"{_LATTICE}; {_BLOWN}" if blown else _LATTICE,
        "CL": "as the lift",
        "CL_unblown": _LATTICE,
        "CL_superposed": "for comparison: slipstreams without edges, an upper bound",
        "CL_from_thrust": "not in CL",
        "drag": "induced and profile drag of the wing only",
        "CD_induced": _discrepancy(totals),
        "CD_profile": "turbulent flat plate or table; no drag rise unless tables hold it",
        "C_pitch": said("warren_12"),
        "thrust": _ROTOR if blown else "no propellers",
        "power": f"{_ROTOR}; {_REST}",
        "efficiency": said("best_efficiency"),
        "net_axial_force": "thrust along the path less wing drag: errors of both add",
    }
    rows = []
    for name, words in held.items():
        if name not in totals or (name in ("power", "efficiency") and not blown):
            continue
        if name == "CL_superposed" and totals[name] == totals.get("CL"):
            continue
        variable = VARIABLES["totals"][name]
        unit = "" if variable.units == "1" else variable.units
        row = [variable.long_name, plain_number(totals[name])]
        if halved:
            half = totals.get(f"half_{name}")
            row.append("as the whole" if half is None else plain_number(half))
        rows.append((*row, unit, words))
    heads = ("of the whole", "of the half model") if halved else ("value",)
    numbers = range(1, 1 + len(heads))
    return html.table(("quantity", *heads, "unit", "checked against"), rows, numbers=numbers)


def _discrepancy(totals: Mapping[str, Any]) -> str:
    value = totals.get("induced_drag_discrepancy")
    if value is None:
        return ""
    apart = 100.0 * abs(value)
    words = "less than 0.01" if apart < 0.01 else f"{apart:.2g}"
    return f"near and far field differ by {words} % on the unblown wing"


def _polar(solution: Solution) -> list[str]:
    if not solution.polar:
        return []
    names = [
        n
        for n in (
            "alpha",
            "CL",
            "CL_unblown",
            "CD_induced",
            "CD",
            "C_pitch",
            "lift",
            "thrust",
            "power",
        )
        if n in solution.totals
    ]
    rows = [
        [plain_number(float(solution.totals[name][k])) for name in names]
        for k in range(len(solution.alphas))
    ]
    head = [_labelled("totals", name) for name in names]
    return [html.heading("Polar"), html.table(head, rows, numbers=range(len(names)))]


def _peaks(solution: Solution) -> list[str]:
    if not solution.peaks:
        return []
    head = ("wing", "CL wing", "CL thrust", "CL sum", "α, deg", "first stall at")
    rows = [(name, *peak_cells(peak)) for name, peak in solution.peaks.items()]
    lines = [html.paragraph(line) for line in peak_lines(solution.peaks)]
    table = html.table(head, rows, numbers=range(1, 5))
    return [html.heading("Largest lift"), table, *lines, html.paragraph(TRUST)]


def _bands(solution: Solution) -> list[str]:
    if not solution.bands:
        return []
    rows = []
    for name, band in solution.bands.items():
        order = "none seen" if "order" not in band else f"{band['order']:.2f}"
        values = [plain_number(band[key]) for key in ("coarse", "middle", "fine", "band")]
        rows.append((_labelled("totals", name), *values, order))
    head = ("quantity", "coarse lattice", "own lattice", "fine lattice", "band ±", "order")
    return [
        html.heading("Numerical bands"),
        html.table(head, rows, numbers=range(1, 6)),
        html.paragraph(
            "Half and twice the panels; the band, after Roache 1994, is that round the own "
            "lattice's value. Wing lattice only."
        ),
    ]


def _labelled(kind: str, name: str) -> str:
    units = VARIABLES[kind][name].units
    label = name.replace("_", " ")
    return label if units == "1" else f"{label}, {units}"


def _figures(solution: Solution, one: Solution, case: Case) -> list[str]:
    made: list[tuple[str, Figure | None, str]] = []
    with style.settings():
        made.append(
            (
                "plan",
                plan_view(one, case),
                "Plan view: the wing from above, flying up the page, with discs edge-on, the way "
                "their upper blades move and the slipstreams.",
            )
        )
        made.append(
            (
                "span",
                span_loading(one),
                "Lift along the span, blown against unblown: each propeller raises the side where "
                "its blades come up and lowers the other.",
            )
        )
        if {"slipstream_axial", "slipstream_swirl"} <= set(one.strips) and one.propellers:
            made.append(
                (
                    "stream",
                    slipstream_velocities(one),
                    "The slipstreams at the wing's quarter chord, axial speed and swirl; points: "
                    "means of the strips.",
                )
            )
        made.append(
            ("blade", blade_loads(one), "Blade loads over the radius, one line per propeller.")
        )
        if solution.polar and "CL" in solution.totals:
            caption = "Lift, drag, pitching moment and net axial force over the angle of attack."
            made.append(("polar", lift_and_drag(solution), caption))
        if solution.peaks:
            caption = "Lift over incidence, blown and unblown, as the search found it."
            made.append(("peak", lift_curve(solution), caption))
        made.append(
            (
                "steps",
                convergence_history(solution, case),
                "Residual of the coupling of wing, propellers and slipstreams, step by step.",
            )
        )
        return [
            html.vector_figure(figure, caption, name)
            for name, figure, caption in made
            if figure is not None
        ]


_PROPELLER = (
    ("rpm", "pitch", "thrust", "power", "J"),
    ("CT", "CP", "efficiency", "tip_mach", "inflow_angle", "normal_force"),
)


def _propellers(solution: Solution, one: Solution, case: Case) -> list[str]:
    if not one.propellers:
        return []
    discs = [disc for disc in discs_of(case) if disc.name in one.propellers]
    parts = [html.heading(_at("Propellers", solution, one))]
    for number, wanted in enumerate(_PROPELLER):
        names = [n for n in wanted if any(n in values for values in one.propellers.values())]
        rows = []
        for disc in discs:
            values = one.propellers[disc.name]
            numbers = [plain_number(values[n]) if n in values else "–" for n in names]
            place = [disc.spin, f"{disc.y:+.3f}"] if number == 0 else []
            rows.append([disc.name, *place, *numbers])
        place = ["spin", "y, m"] if number == 0 else []
        head = ["port to starboard", *place, *(_labelled("propellers", n) for n in names)]
        if names:
            parts.append(html.table(head, rows, numbers=range(len(head) - len(names), len(head))))
    return parts


# Two tables of few columns each: a page of A4 or Letter is no wider.
_STRIP = (
    (
        "cl over the free-stream dynamic pressure; cl local q over the strip's own",
        ("y", "chord", "circulation", "cl", "cl_unblown", "cl_local_q", "cl_limit"),
    ),
    (
        "drag, incidence and the velocities at the quarter chord",
        ("y", "cd_induced", "cd_profile", "alpha_effective", "slipstream_axial",
         "slipstream_swirl", "downwash"),
    ),
)  # fmt: skip


def _strips(one: Solution) -> str:
    """The strips; those of a symmetric result from the plane of symmetry to starboard."""
    y = one.strips["y"]
    keep = np.flatnonzero(y >= 0.0) if _mirrored(one.strips) else np.arange(y.size)
    note = ", starboard half, port is its mirror image" if keep.size < y.size else ""
    parts = []
    for caption, wanted in _STRIP:
        names = [n for n in wanted if n in one.strips]
        rows = [[plain_number(float(one.strips[n][k]), 3) for n in names] for k in keep]
        head = [_labelled("strips", n) for n in names]
        parts.append(html.table(head, rows, numbers=range(len(names)), caption=f"{caption}{note}"))
    return "\n".join(parts)


def _mirrored(strips: Mapping[str, Any]) -> bool:
    """Whether port is the mirror image of starboard to the last digit, as a half solve writes."""
    return all(
        np.array_equal(value, -value[::-1] if name == "y" else value[::-1])
        for name, value in strips.items()
    )


def _convergence(solution: Solution) -> str:
    rows = []
    for k, history in enumerate(solution.histories):
        alpha = solution.alphas[k] if solution.polar else solution.totals["alpha"]
        residual = history["residual"]
        rows.append([f"{alpha:g}", str(residual.size), f"{residual[-1]:.1e}"])
    return html.table(("α, deg", "steps", "last residual"), rows, numbers=(0, 1, 2))
