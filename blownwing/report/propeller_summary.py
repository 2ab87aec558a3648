"""Designed propellers on the terminal: both blades side by side, limits, caution."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from blownwing.propeller.specification import Specification
from blownwing.report.propeller_comparison import OBSERVER_DISTANCE, Product, verdict
from blownwing.report.propeller_figures import NAMES
from blownwing.report.trust import GENERAL_SECTION
from blownwing.solution import CAUTION

NOTES = (
    "Loads come from blade elements with tip and hub loss; sections from one table, without "
    "rotational stall delay.",
    "The slipstream keeps its evenness from disc to wing by assumption; a nacelle and the wing's "
    "own upwash disturb it.",
    "The wing is solved with four layers in every slipstream, so that blades are told apart; solve "
    "takes as many as the profile needs, and its lift differs by a few per cent for that.",
    "Noise is Gutin's rotational tones in free field: indicative only.",
)


def print_products(spec: Specification, products: Sequence[Product], console: Console) -> None:
    """Print the comparison; fits 80 columns and needs no colour."""
    task = products[0].design.task
    console.print(Text(spec.title or "Propeller design", style="bold"))
    wanted = f"{task.thrust:g} N" if task.thrust is not None else f"{1e-3 * (task.power or 0):g} kW"
    console.print(
        Text(
            f"{wanted} at {task.airspeed:g} m/s, {spec.propeller.rpm:g} rpm, {task.blades} blades, "
            f"{task.diameter:g} m, tip Mach {task.tip_speed_mach:.3f}"
        )
    )
    console.print()
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("", no_wrap=True)
    for product in products:
        table.add_column(NAMES[product.design.kind], justify="right", no_wrap=True)
    for label, cells in _rows(products):
        table.add_row(Text(label), *(Text(cell) for cell in cells))
    console.print(table)
    if verdict(spec, products):
        console.print()
        console.print(Text(verdict(spec, products)))
    console.print()
    console.print(Text("How far to trust this", style="bold"))
    general = [f"The blades' section {GENERAL_SECTION}"] if products[0].rotor.general else []
    for note in [*NOTES, *general]:
        console.print(Padding(Text(note), (0, 0, 0, 2)))
    console.print(Padding(Text(CAUTION, style="italic"), (0, 0, 0, 2)))


def _rows(products: Sequence[Product]) -> list[tuple[str, list[str]]]:
    def row(label: str, form: str, values: Sequence[float]) -> tuple[str, list[str]]:
        return label, [format(value, form) for value in values]

    designs = [p.design for p in products]
    loads = [p.loads for p in products]
    rows = [
        row("Thrust by blade elements, N", ".1f", [x.thrust for x in loads]),
        row(
            "  against the design, %",
            "+.2f",
            [100.0 * (x.thrust / d.thrust - 1.0) for x, d in zip(loads, designs, strict=True)],
        ),
        row("Shaft power by blade elements, kW", ".3f", [1e-3 * x.power for x in loads]),
        row(
            "  against the design, %",
            "+.2f",
            [100.0 * (x.power / d.power - 1.0) for x, d in zip(loads, designs, strict=True)],
        ),
        row(
            "Efficiency",
            ".4f",
            [x.thrust * d.task.airspeed / x.power for x, d in zip(loads, designs, strict=True)],
        ),
        row("Solidity", ".4f", [d.solidity for d in designs]),
        row(
            "Largest chord, part of the radius",
            ".3f",
            [float(d.chord.max()) / d.task.radius for d in designs],
        ),
        row("Unevenness of the axial velocity, %", ".2f", [100.0 * p.unevenness for p in products]),
        row("Map error of CT, largest", ".5f", [p.map.thrust_error[0] for p in products]),
        row("Map error of CP, largest", ".5f", [p.map.power_error[0] for p in products]),
        row(
            f"Rotational noise at {OBSERVER_DISTANCE:g} m, 105° off the axis, dB",
            ".1f",
            [p.tones.overall for p in products],
        ),
    ]
    states = [p.motor for p in products if p.motor is not None]
    if states:
        rows += [
            row("Electrical power, kW", ".3f", [1e-3 * float(s.electrical_power) for s in states]),
            row("Motor efficiency", ".4f", [float(s.efficiency) for s in states]),
        ]
        currents = [float(s.current) for s in states if s.current is not None]
        rows += [row("Motor current, A", ".1f", currents)] if currents else []
    rows += [
        row("On the wing: lift unblown, N", ".1f", [p.lift_unblown for p in products]),
        row("  lift gained by blowing, N", ".1f", [p.lift_gain for p in products]),
        row("  thrust of all propellers, N", ".1f", [p.wing_thrust for p in products]),
        row("  shaft power of all, kW", ".3f", [1e-3 * p.wing_power for p in products]),
        row("  lift gained per kilowatt, N/kW", ".3f", [p.gain_per_kilowatt for p in products]),
    ]
    return rows
