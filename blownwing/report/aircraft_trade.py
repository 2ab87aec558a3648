"""The trade over the number of propellers: table, best counts, rules of thumb."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from blownwing.aircraft.trade import Best, Trade, best_choices, compromises
from blownwing.case.model import Case
from blownwing.case.units import FOOT, KNOT
from blownwing.report.assumed import assumed
from blownwing.report.compromises import HEADING, reasons
from blownwing.report.words import ASSUMED, print_lead, print_rest
from blownwing.solution.groups import Words

_KEPT = {
    "coverage": "the span that the row covers, total power and tip speed",
    "disc_loading": "total disc area, total power and tip speed",
    "thrust": "the span that the row covers, total thrust at lift-off and tip speed",
}


_REASONS = {
    "coverage": (
        "With the span covered kept, disc area goes as 1/N: fewer discs thrust more for the same "
        "power and are higher against the chord, and only ground clearance and a failed motor "
        "speak for more. The rule is of a given disc area: --keep disc_loading."
    ),
    "disc_loading": (
        "With disc area kept, thrust is equal: the span covered grows as the root of N, radius "
        "over chord falls as it, and the best number lies near where the span is just covered."
    ),
    "thrust": (
        "With the span covered and thrust kept, smaller discs blow harder for more power, but are "
        "lower against the chord."
    ),
}


def trade_words(trade: Trade, case: Case) -> Words:
    """The trade in words: what was kept, what failed, best counts, rules of thumb.

    Raises InputError for a blade file that cannot be read.
    """
    lists: list[tuple[str, tuple[str, ...]]] = []
    if trade.refused:
        tried, lost = len(trade.asked), len(trade.refused)
        lists.append(
            (
                f"{lost} of {tried} counts failed: neither candidates nor proof",
                tuple(f"{count} propellers: {why}" for count, why in trade.refused.items()),
            )
        )
    lists += [
        (HEADING, tuple(compromise_lines(trade))),
        ("Best counts (and those within 2 %, noise within 1 dB)", tuple(best_lines(trade))),
        ("Against rules of thumb (common practice, no source)", tuple(rules_of_thumb(trade))),
        (ASSUMED, tuple(assumed(case))),
    ]
    share = 100.0 * trade.row.active
    cruise = f"the outermost {share:.0f} % of it, rounded, is at work" if share else "it is idle"
    lead = (
        f"Kept: {_KEPT[trade.keep]}. The row's blades are designed anew for least loss at each "
        f"count. In cruise {cruise}; propellers beside it stay as they are."
    )
    return Words(lead, (), tuple(lists))


def print_trade(trade: Trade, words: Words, console: Console) -> None:
    """Print the trade, its table between the words; fits 80 columns."""
    print_lead("Number of propellers", words, console)
    console.print()
    console.print(_table(trade))
    print_rest(words, console)


def _table(trade: Trade) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="underline")
    heads = (
        "N", "D m", "kW each", "kg", "50 ft m (ft)", "CLmax", "unblown", "cruise kW", "km",
        "OEI %", "dB",
    )  # fmt: skip
    for name in heads:
        table.add_column(name, justify="right", no_wrap=True)
    for choice in trade.choices:
        v = choice.values
        table.add_row(
            str(choice.count),
            f"{v['row_diameter']:.2f}",
            f"{choice.power / 1000.0:.1f}",
            f"{v['mass']:.0f}",
            f"{v['take_off_distance']:.0f} ({v['take_off_distance'] / FOOT:.0f})",
            f"{v['CLmax']:.2f}",
            f"{v['CLmax_unblown']:.2f}",
            f"{v['cruise_power'] / 1000.0:.1f}",
            f"{v['range'] / 1000.0:.0f}",
            f"{100.0 * v['gradient_failed']:.1f}",
            f"{v['noise']:.0f}",
        )
    return table


def compromise_lines(trade: Trade) -> list[str]:
    """A line for each count that no other beats in all three, with what makes it so."""
    return [f"{c.count}: {reasons(c.values)}" for c in compromises(trade)]


def best_lines(trade: Trade) -> list[str]:
    """One sentence for each goal: the best count and how flat the optimum is."""
    return [_best_line(best, len(trade.choices)) for best in best_choices(trade)]


def _best_line(best: Best, evaluated: int) -> str:
    if best.unproven:
        return f"{best.goal}: no best found; {best.count} leads, but {best.unproven}"
    if len(best.near) == evaluated and evaluated > 1:
        return f"{best.goal}: {best.count}, but flat: every count is within the limit"
    near = ", ".join(str(count) for count in best.near)
    shape = "sharp" if best.near == (best.count,) else f"flat over {near}"
    return f"{best.goal}: {best.count} ({shape})"


def rules_of_thumb(trade: Trade) -> list[str]:
    """Where our numbers fall against sanity values of the trade, and why."""
    top = max((c.values for c in trade.choices), key=lambda v: v["CLmax"])
    ratio = max(c.values["CLmax"] / c.values["CLmax_unblown"] for c in trade.choices)
    cut = 1.0 - ratio**-0.5
    covered = trade.row.fill * (trade.row.outer - trade.row.inner)
    load = top["disc_loading"] / (0.5 * trade.density * top["lift_off"] ** 2)
    limit = (
        "the incidence stops at 24 degrees"
        if trade.by_tables
        else "the stall is called when a part of the wing, mostly unblown, reaches its limit"
    )
    shortest = min(trade.choices, key=lambda c: c.values["take_off_distance"])
    first = next(best for best in best_choices(trade) if best.goal == "shortest take-off")
    high = (
        f"Blown CL above 5 with flaps on a fully blown wing: here {top['CLmax']:.2f} at most, "
        f"take-off flaps, thrust {load:.1f} q of disc area, {covered:.1f} m of each half span in "
        f"the row; {limit}."
    )
    double = (
        "A fully blown wing more than doubles the unblown one's lift and cuts lift-off speed by a "
        f"third: here {ratio:.2f} times, {100.0 * cut:.0f} % less speed."
    )
    if ratio < 2.0:
        double += (
            " Slipstreams of finite height raise the lift less than their dynamic pressure says, "
            "and discs along the x axis lower the angle of attack inside them."
        )
    found = (
        f"not found: {shortest.count} leads for the shortest take-off, but {first.unproven}"
        if first.unproven
        else f"here {shortest.count} for the shortest take-off (within 2 %: "
        f"{', '.join(map(str, first.near))}; lift-off {shortest.values['lift_off'] / KNOT:.0f} kt)"
    )
    count = f"Best number between 8 and 16: {found}. {_REASONS[trade.keep]}"
    found_at = f" Largest of {len(trade.choices)} of {len(trade.asked)} counts tried."
    return [high + (found_at if trade.refused else ""), double, count]
