"""An aircraft on one page: SI with the trade's units beside, margins, warnings, caution."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from blownwing.aircraft import rules
from blownwing.aircraft.configuration import STALLED_AREA, aircraft_of
from blownwing.aircraft.performance import Performance
from blownwing.case.units import FOOT, GRAVITY, KNOT, POUND
from blownwing.solution.model import CAUTION

NAUTICAL_MILE = 1852.0  # m
POUND_PER_SQUARE_FOOT = POUND * GRAVITY / FOOT**2  # N/m²

Row = tuple[str, str, str]


def speed_text(value: float) -> str:
    """A speed in m/s and kt."""
    return f"{value:.1f} m/s ({value / KNOT:.0f} kt)"


def length_text(value: float) -> str:
    """A length in m and ft."""
    return f"{value:.0f} m ({value / FOOT:.0f} ft)"


def rate_text(value: float) -> str:
    """A rate of climb in m/s and ft/min."""
    return f"{value:+.1f} m/s ({60.0 * value / FOOT:+.0f} ft/min)"


def range_text(value: float) -> str:
    """A range in km and nautical miles."""
    return f"{value / 1000.0:.0f} km ({value / NAUTICAL_MILE:.0f} nmi)"


def print_aircraft(performance: Performance, console: Console) -> None:
    """Print an aircraft's results; fits 80 columns and needs no colour."""
    p, aircraft = performance, aircraft_of(performance.case)
    console.print(Text(p.case.title or "Aircraft", style="bold"))
    loading = p.wing_loading
    console.print(
        Text(
            f"{aircraft.mass:.0f} kg, W/S {loading:.0f} N/m² "
            f"({loading / POUND_PER_SQUARE_FOOT:.1f} lb/ft²), battery "
            f"{aircraft.battery.specific_energy:.0f} Wh/kg, "
            f"{aircraft.battery.usable_energy / 3.6e6:.1f} kWh usable"
        )
    )
    for title, rows in (
        ("Take-off", _take_off(p)),
        ("Stall and approach", _stall(p)),
        ("Climb and failed motor", _climb(p)),
        ("Cruise", _cruise(p)),
        ("Mission and gusts", _mission(p)),
    ):
        console.print()
        console.print(Text(title, style="bold"))
        console.print(Padding(_table(rows), (0, 0, 0, 2)))
    warned = warnings(p)
    if warned:
        console.print()
        console.print(Text("Warnings", style="bold"))
        _lines(warned, console)
    console.print()
    console.print(Text("How far to trust this", style="bold"))
    _lines(trust(p), console)
    print_caution(console)


def print_caution(console: Console) -> None:
    """Print the safety caution that ends every aircraft output."""
    console.print(Padding(Text(CAUTION, style="italic"), (0, 0, 0, 2)))


def _lines(lines: Iterable[str], console: Console) -> None:
    for line in lines:
        console.print(Padding(Text(line), (0, 0, 0, 2)))


def _table(rows: list[Row]) -> Table:
    table = Table.grid(padding=(0, 2))
    table.add_column(no_wrap=True)
    table.add_column(no_wrap=True, justify="right", style="bold")
    table.add_column()
    for row in rows:
        table.add_row(*map(Text, row))
    return table


def _take_off(p: Performance) -> list[Row]:
    run, setup = p.take_off, aircraft_of(p.case).take_off
    rows = [
        ("Lift-off", speed_text(run.lift_off), f"α {run.lift_off_alpha:.1f}°, {run.limited_by}"),
        (
            "Ground roll",
            length_text(run.roll.distance),
            f"{run.roll.time:.1f} s; closed form with mean thrust {run.closed:.0f} m",
        ),
        (
            f"To {setup.obstacle / FOOT:.0f} ft",
            length_text(run.distance),
            f"rotation {run.rotation:.0f} m, airborne {run.airborne.distance:.0f} m",
        ),
    ]
    failure = p.failed_take_off
    if failure.going is None:
        words = "the take-off cannot be continued"
    else:
        words = f"stop {failure.stopping:.0f} m, continue {failure.going:.0f} m"
        words += " (balanced)" if failure.is_balanced else ""
    longest = max(failure.stopping, failure.going or 0.0)
    name = f"{failure.propeller} fails"
    where = f"at {failure.speed:.1f} m/s: {words}"
    rows.append((name, length_text(longest), where))
    return rows


def _stall(p: Performance) -> list[Row]:
    rows = []
    names = {
        "take_off unblown": "Take-off, zero thrust",
        "take_off blown": "Take-off, blown",
        "take_off failed": "Take-off, motor failed",
        "approach unblown": "Approach, zero thrust",
        "approach blown": "Approach, full thrust",
        "clean unblown": "Clean, zero thrust",
    }
    for key, name in names.items():
        item = p.stalls[key]
        words = f"CL {item.CLmax:.2f} (wing {item.wing_CL:.2f}), α {item.alpha:.1f}°"
        rows.append((name, speed_text(item.speed), words))
    final = p.approach
    rows.append(
        (
            "Approach",
            speed_text(final.speed),
            f"path {final.path:.1f}°, {final.power / 1000.0:.0f} kW, α {final.alpha:.1f}°",
        )
    )
    rows.append(
        (
            "Angle margin",
            f"{final.alpha_margin:.1f}°",
            f"a {aircraft_of(p.case).approach.vertical_gust:.0f} m/s vertical gust takes "
            f"{final.gust_alpha:.1f}°",
        )
    )
    return rows


def _climb(p: Performance) -> list[Row]:
    steep, best, again = p.best_gradient, p.best_rate, p.go_around
    rows = [
        ("Take-off flaps", f"{100.0 * steep.gradient:.1f} %", f"at {speed_text(steep.speed)}, "
         f"trim drag {steep.trim_drag:.0f} N"),
        ("Clean", rate_text(best.rate), f"at {speed_text(best.speed)}"),
        ("Go-around", f"{100.0 * again.gradient:.1f} %", f"at {speed_text(again.speed)}"),
    ]  # fmt: skip
    for item in p.failures:
        held = "held" if item.is_held else "NOT HELD"
        yaw = "" if item.yaw_available is None else f" of {item.yaw_available:.3f}"
        name = "Motor failed" if len(item.failed) == 1 else "and opposite off"
        rows.append(
            (
                name,
                f"{100.0 * item.gradient:.1f} %",
                f"Cl {item.roll:.3f} of {item.roll_available:.3f}, Cn {item.yaw:.3f}{yaw}, {held}",
            )
        )
    return rows


def _cruise(p: Performance) -> list[Row]:
    at, far, long = p.cruise_at, p.best_range, p.best_endurance
    return [
        (
            speed_text(at.speed),
            f"{at.shaft_power / 1000.0:.1f} kW",
            f"CL {at.CL:.2f}, L/D {at.lift_to_drag:.1f}, battery "
            f"{at.battery_power / 1000.0:.1f} kW",
        ),
        ("Range, no reserve", range_text(at.range), f"{at.endurance / 60.0:.0f} min"),
        ("Best range", range_text(far.range),
         f"at {speed_text(far.speed)}, L/D {far.lift_to_drag:.1f}"),
        ("Best endurance", f"{long.endurance / 60.0:.0f} min", f"at {speed_text(long.speed)}"),
    ]  # fmt: skip


def _mission(p: Performance) -> list[Row]:
    mission = p.mission
    parts = ", ".join(f"{s.name} {s.energy / 3.6e6:.1f}" for s in mission.segments)
    rows = [
        ("Mission range", range_text(mission.range), f"kWh: {parts}"),
        ("Energy closes", f"{100.0 * mission.closure:.0e} %", "battery against integral of power"),
    ]
    gust = aircraft_of(p.case).cruise.gust
    for name in ("cruise", "approach"):
        blown, bare = p.gusts[f"{name} blown"], p.gusts[f"{name} unblown"]
        rows.append(
            (
                f"Gust, {name}",
                f"Δn {blown.added:.2f}",
                f"unblown {bare.added:.2f}; gust of {gust:.1f} m/s ({gust / FOOT:.0f} ft/s)",
            )
        )
    return rows


def warnings(p: Performance) -> list[str]:
    """What a designer must not overlook, each with its numbers."""
    aircraft, final = aircraft_of(p.case), p.approach
    found = []
    if final.stall_jump > 0.02 * final.stall_speed or final.margin_after_failure < 1.2:
        found.append(
            f"When power is cut on the approach the stall speed rises from "
            f"{final.stall_speed:.1f} to {final.unblown_stall_speed:.1f} m/s: the margin falls to "
            f"{final.margin_after_failure:.2f}."
        )
    if final.alpha_margin < final.gust_alpha:
        found.append(
            f"The vertical gust takes {final.gust_alpha:.1f}° on the approach, the stall is "
            f"{final.alpha_margin:.1f}° away."
        )
    if not final.holds_path:
        found.append(
            f"Zero thrust is too much for the approach path of {aircraft.approach.path:.1f}°; "
            f"{final.path:.1f}° is flown. More drag or a shallower path is needed."
        )
    cut = p.take_off.lift_off / p.stalls["take_off unblown"].speed
    if cut < rules.ROTATION.value:
        found.append(
            f"Lift-off is at {cut:.2f} of the stall speed at zero thrust: flight depends on thrust."
        )
    failed = p.take_off.lift_off / p.stalls["take_off failed"].speed
    if failed < rules.ROTATION.value:
        found.append(f"Lift-off is at {failed:.2f} of the stall speed with the motor failed.")
    runway = aircraft.take_off.runway
    failure = p.failed_take_off
    longest = max(p.take_off.distance, failure.stopping, failure.going or 0.0)
    if runway is not None and longest > runway:
        found.append(f"The take-off needs {longest:.0f} m, the runway has {runway:.0f} m.")
    if failure.why_not:
        found.append(f"Motor failed: {failure.why_not}.")
    if p.failure_note:
        found.append(p.failure_note)
    for item in p.failures:
        if not item.is_held:
            found.append(
                f"{' and '.join(item.failed)} failed at {item.speed:.1f} m/s: ailerons or fin do "
                f"not hold the moments below {item.smallest_speed:.1f} m/s."
            )
    found += _below_rules(p)
    return found


def _below_rules(p: Performance) -> list[str]:
    """Results below what the classical rules asked for, as orientation."""
    compared = [
        (p.best_gradient.gradient, rules.CLIMB),
        (p.go_around.gradient, rules.BALKED),
    ]
    if p.failures:
        compared.append((p.failures[0].gradient, rules.CLIMB_FAILED))
    found = [
        f"Orientation, {rule.name}: {rule.text} of {100.0 * rule.value:.1f} %, found "
        f"{100.0 * value:.1f} %."
        for value, rule in compared
        if value < rule.value
    ]
    aircraft = aircraft_of(p.case)
    margins = (
        (aircraft.take_off.lift_off_margin, rules.ROTATION),
        (aircraft.take_off.screen_margin, rules.SCREEN),
        (aircraft.approach.speed_margin, rules.APPROACH),
    )
    found += [
        f"Orientation, {rule.name}: {rule.text} of {rule.value:.2f}, the case has {value:.2f}."
        for value, rule in margins
        if value < rule.value
    ]
    if aircraft.cruise.gust < rules.GUST.value - 0.005:
        found.append(
            f"Orientation, {rules.GUST.name}: {rules.GUST.text}, the case has "
            f"{aircraft.cruise.gust:.1f}."
        )
    slow = p.stalls["approach unblown"].speed
    if slow > rules.STALL.value:
        found.append(
            f"Orientation, {rules.STALL.name}: {rules.STALL.text} of {rules.STALL.value:.1f}, "
            f"found {slow:.1f} at zero thrust."
        )
    return found


def trust(p: Performance) -> list[str]:
    """How far to trust the results: errors measured, and what the model leaves out."""
    worst = {
        name: max(table.errors[name] for table in p.tables.values())
        for name in ("lift", "excess", "power")
    }
    own = p.resolution
    notes = [
        f"Tables against solves between nodes: lift {100.0 * worst['lift']:.1f} %, net force "
        f"{100.0 * worst['excess']:.1f} % of weight, power {100.0 * worst['power']:.1f} % of "
        "rated.",
        f"Their lattice against the case's own, at lift-off: lift {100.0 * own['lift']:+.1f} %, "
        f"net force {100.0 * own['excess']:+.1f} % of weight.",
        _stall_words(p),
        f"Margins and gradients quote 14 CFR 23 as orientation, not as compliance. "
        f"{rules.POWERED_STALL.name}: {rules.POWERED_STALL.text}.",
    ]
    return notes


def _stall_words(p: Performance) -> str:
    """How the stall was decided."""
    if p.case.model.sections == "tables":
        open_ended = [name for name, item in p.stalls.items() if not item.is_peak]
        words = "Stall: largest lift over incidence with section tables."
        if open_ended:
            words += (
                f" Lift still grows at {p.stalls[open_ended[0]].alpha:.0f}°, the largest tried, "
                f"for {', '.join(open_ended)}."
            )
        return words
    share = aircraft_of(p.case).stalled_area
    return (
        "Stall: sections at the limits the case gives, over "
        f"{100.0 * (STALLED_AREA if share is None else share):.0f} % of the wing; no separated "
        "flow is computed."
    )
