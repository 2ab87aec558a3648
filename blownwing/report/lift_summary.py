"""The largest lift blown and unblown, in words a designer reads at a glance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from blownwing.case.units import KNOT
from blownwing.solution.model import Values
from blownwing.validation.claims import said

TRUST = (
    "How far to trust this: section tables in an attached, potential outer flow. Exact for a plane "
    f"section, {said('elliptic_stall')}; {said('flap_increments')}; separated turning of a "
    "slipstream by large flaps is not modelled and no complete blown wing was measured, so blown "
    "values are estimates and no proof of a stall speed."
)


def print_peaks(
    peaks: Mapping[str, Values], unsettled: Mapping[str, Sequence[float]], console: Console
) -> None:
    """Print largest lift with and without propellers, and stall speeds where there are any.

    peaks: as a result keeps them; unsettled: deg, where strips did not settle, by the same names.
    """
    table = Table(box=None, pad_edge=False, title="Largest lift", title_justify="left")
    heads = ("", "CL wing", "CL thrust", "CL sum", "alpha deg", "first stall at")
    for head in heads:
        table.add_column(head, justify="left" if head in ("", "first stall at") else "right")
    for name, peak in peaks.items():
        table.add_row(name, *peak_cells(peak))
    console.print(table)
    for line in peak_lines(peaks):
        console.print(Text(line))
    for name, alphas in unsettled.items():
        if alphas:
            words = f"No result {name} from {alphas[0]:.1f} deg on, past the peak: the strips "
            console.print(Text(words + "do not settle on their section tables there."))
    console.print()
    console.print(Text(TRUST))


def peak_cells(peak: Values) -> tuple[str, ...]:
    """CL of the wing, of the thrust, their sum, incidence, and where the stall begins."""
    thrust = peak.get("CL_from_thrust", 0.0)
    first = f"{100 * peak['stall_fraction']:.0f} % semi-span, {peak['stall_alpha']:.1f} deg"
    both = peak["CL"] + thrust
    return f"{peak['CL']:.3f}", f"{thrust:.3f}", f"{both:.3f}", f"{peak['alpha']:.2f}", first


def peak_lines(peaks: Mapping[str, Values]) -> list[str]:
    """What blowing gains, each wing at its own peak, and the stall speeds."""
    lines = []
    if "blown" in peaks:
        gain = 100.0 * (peaks["blown"]["CL"] / peaks["unblown"]["CL"] - 1.0)
        lines.append(
            f"Blowing raises the wing's own largest lift by {gain:.1f} %, each at its own "
            "incidence; a gain at one incidence compares with a wing that may be stalled."
        )
    for name, peak in peaks.items():
        if "stall_speed" in peak:
            speed = peak["stall_speed"]
            lines.append(f"Stall speed {name}: {speed:.2f} m/s ({speed / KNOT:.1f} kt).")
    return lines
