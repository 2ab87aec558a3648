"""The report of a result: one page for a reader who did not run the case."""

from __future__ import annotations

import io
from collections.abc import Mapping
from html import escape
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure
from rich.console import Console

from blownwing import __version__
from blownwing.case.model import Case
from blownwing.report import html, style
from blownwing.report.blade_figures import blade_loads
from blownwing.report.explain import print_case
from blownwing.report.history_figures import convergence_history, lift_and_drag
from blownwing.report.layout import case_of, discs_of
from blownwing.report.trim_html import aircraft_sections
from blownwing.report.trust import trust_notes
from blownwing.report.wing_figures import plan_view, slipstream_velocities, span_loading
from blownwing.solution import CAUTION, VARIABLES, Solution
from blownwing.solution.files import write_whole

# What each headline number was held against; the README's table names the tests.
_LATTICE = "slope within 1 % of published lattice values, 0 to 4 % low on a measured swept wing"
_BLOWN = (
    "gain by blowing: free vortex rings behind one disc within 7 % of the gain, no complete blown "
    "wing measured"
)
_ROTOR = "four measured propellers, J ≥ 0.4: |ΔCT| ≤ 0.012, |ΔCP| ≤ 0.010"
_REST = "at rest thrust within 5 %, power up to 36 % low"


def write_report(solution: Solution, path: str | Path) -> Path:
    """Write the report of ``solution`` to ``path``: one file, nothing loaded from elsewhere.

    Raises:
        InputError: the place cannot be written, or the stored case cannot be read.
        SolveError: the system refused while writing.
    """
    text = report_page(solution)
    return write_whole(path, lambda partial: _put(partial, text))


def _put(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")


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
            f"Wing and propeller aerodynamics, computed {solution.created} by blownwing "
            f"{solution.version}; report by version {__version__}.",
            "lead",
        ),
        html.paragraph(CAUTION, "caution"),
        html.heading("The job"),
        html.text_block(_job(case)),
        *_polar(solution),
        html.heading(_at("Headline numbers", solution, one)),
        _headline(one),
        html.paragraph(
            "Thrust is the axial force on the blades, wing drag is everything on the wing, "
            "slipstreams included, and the net axial force is their sum along the flight path. "
            "Unblown is the same wing at the same incidence with the propellers taken away."
        ),
        html.heading("How far to trust this"),
        html.bullets(trust_notes(solution, case)),
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


def _job(case: Case) -> str:
    """The case in words, as the command line explains it."""
    stream = io.StringIO()
    print_case(case, Console(file=stream, width=100, highlight=False, markup=False, emoji=False))
    return "\n".join(line.rstrip() for line in stream.getvalue().splitlines())


def _at(text: str, solution: Solution, one: Solution) -> str:
    return f"{text} at α {one.totals['alpha']:g}°" if solution.polar else text


def _number(value: float, digits: int = 4) -> str:
    """Return a value with significant digits, without exponents where they are not needed."""
    if value == 0.0:
        return "0"
    size = abs(value)
    if not 1e-4 <= size < 1e7:
        return f"{value:.{digits - 1}e}"
    decimals = max(digits - 1 - int(f"{size:e}".split("e")[1]), 0)
    return f"{value:,.{decimals}f}".replace(",", " ")


def _headline(one: Solution) -> str:
    totals = one.totals
    blown = bool(one.propellers)
    held = {
        "lift": f"{_LATTICE}; {_BLOWN}" if blown else _LATTICE,
        "CL": "as the lift",
        "CL_unblown": _LATTICE,
        "CL_superposed": "for comparison: slipstreams without edges, an upper bound",
        "CL_from_thrust": "not in CL",
        "drag": "induced and profile drag of the wing only",
        "CD_induced": _discrepancy(totals),
        "CD_profile": "turbulent flat plate or table; no drag rise unless tables hold it",
        "Cm": "moment slope within 1 % of a published lattice value",
        "thrust": _ROTOR if blown else "no propellers",
        "power": f"{_ROTOR}; {_REST}",
        "efficiency": "best efficiency up to 0.06 too high against the same propellers",
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
        rows.append((variable.long_name, _number(totals[name]), unit, words))
    return html.table(("quantity", "value", "unit", "held against"), rows, numbers=(1,))


def _discrepancy(totals: Mapping[str, Any]) -> str:
    value = totals.get("induced_drag_discrepancy")
    if value is None:
        return ""
    return f"near and far field differ by {100.0 * abs(value):.2g} % on the unblown wing"


def _polar(solution: Solution) -> list[str]:
    if not solution.polar:
        return []
    names = [
        n
        for n in ("alpha", "CL", "CL_unblown", "CD_induced", "CD", "Cm", "lift", "thrust", "power")
        if n in solution.totals
    ]
    rows = [
        [_number(float(solution.totals[name][k])) for name in names]
        for k in range(len(solution.alphas))
    ]
    head = [_labelled("totals", name) for name in names]
    return [html.heading("Polar"), html.table(head, rows, numbers=range(len(names)))]


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
                    "The slipstreams at the wing's quarter chord: axial speed and swirl.",
                )
            )
        made.append(
            ("blade", blade_loads(one), "Blade loads over the radius, one line per propeller.")
        )
        if solution.polar and "CL" in solution.totals:
            made.append(("polar", lift_and_drag(solution), "Lift curve and induced drag polar."))
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


_PROPELLER = ("rpm", "pitch", "thrust", "power", "J", "CT", "CP", "efficiency", "tip_mach",
              "inflow_angle", "normal_force")  # fmt: skip


def _propellers(solution: Solution, one: Solution, case: Case) -> list[str]:
    if not one.propellers:
        return []
    discs = [disc for disc in discs_of(case) if disc.name in one.propellers]
    names = [n for n in _PROPELLER if any(n in values for values in one.propellers.values())]
    rows = []
    for disc in discs:
        values = one.propellers[disc.name]
        numbers = [_number(values[n]) if n in values else "–" for n in names]
        rows.append([disc.name, disc.spin, f"{disc.y:+.3f}", *numbers])
    head = ["port to starboard", "spin", "y, m", *(_labelled("propellers", n) for n in names)]
    places = range(2, len(head))
    return [
        html.heading(_at("Propellers", solution, one)),
        html.table(head, rows, numbers=places),
    ]


_STRIP = ("y", "chord", "circulation", "cl", "cl_unblown", "cl_local_q", "cd_induced",
          "cd_profile", "alpha_effective", "slipstream_axial", "slipstream_swirl",
          "downwash")  # fmt: skip


def _strips(one: Solution) -> str:
    names = [n for n in _STRIP if n in one.strips]
    rows = [
        [_number(float(one.strips[n][k]), 3) for n in names] for k in range(one.strips["y"].size)
    ]
    head = [_labelled("strips", n) for n in names]
    return html.table(
        head,
        rows,
        numbers=range(len(names)),
        caption="cl over the free-stream dynamic pressure; cl local q over the strip's own",
    )


def _convergence(solution: Solution) -> str:
    rows = []
    for k, history in enumerate(solution.histories):
        alpha = solution.alphas[k] if solution.polar else solution.totals["alpha"]
        residual = history["residual"]
        rows.append([f"{alpha:g}", str(residual.size), f"{residual[-1]:.1e}"])
    return html.table(("α, deg", "steps", "last residual"), rows, numbers=(0, 1, 2))
