"""The largest lift blown and unblown, in words a designer reads at a glance."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from blownwing.study.lift import Peak, StallSpeed

TRUST = (
    "How far to trust this: section tables in an attached, potential outer flow. Exact for a plane "
    "section, within 1.5 % of lifting-line theory for an elliptic wing; flap increments to about "
    "±15 %; separated turning of a slipstream by large flaps is not modelled and no complete blown "
    "wing was measured, so blown values are estimates and no proof of a stall speed."
)


def print_peaks(
    blown: Peak | None,
    bare: Peak,
    speeds: tuple[StallSpeed | None, StallSpeed] | None,
    console: Console,
) -> None:
    """Print largest lift with and without propellers, and stall speeds where a weight was given.

    blown: None for a case without propellers; speeds: blown (None likewise) and unblown.
    """
    table = Table(box=None, pad_edge=False, title="Largest lift", title_justify="left")
    heads = ("", "CL wing", "CL thrust", "CL sum", "alpha deg", "first stall at")
    for head in heads:
        table.add_column(head, justify="left" if head in ("", "first stall at") else "right")
    for name, peak in (("blown", blown), ("unblown", bare)):
        if peak is not None:
            first = f"{100 * peak.stall_fraction:.0f} % semi-span, {peak.stall_alpha:.1f}"
            table.add_row(
                name,
                f"{peak.CL:.3f}",
                f"{peak.CL_from_thrust:.3f}",
                f"{peak.CL + peak.CL_from_thrust:.3f}",
                f"{peak.alpha:.2f}",
                f"{first} deg",
            )
    console.print(table)
    if blown is not None:
        gain = 100.0 * (blown.CL / bare.CL - 1.0)
        console.print(Text(f"Blowing raises the wing's own largest lift by {gain:.1f} %."))
    for name, peak in (("blown", blown), ("unblown", bare)):
        if peak is not None and peak.unsettled:
            words = (
                f"No result {name} from {peak.unsettled[0]:.1f} deg on, past the peak: the strips "
            )
            console.print(Text(words + "do not settle on their section tables there."))
    if speeds is not None:
        for name, speed in zip(("blown", "unblown"), speeds, strict=True):
            if speed is not None:
                knots = speed.speed / 0.514444
                console.print(Text(f"Stall speed {name}: {speed.speed:.2f} m/s ({knots:.1f} kt)."))
    console.print()
    console.print(Text(TRUST))
