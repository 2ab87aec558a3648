"""An aircraft in words: SI with the trade's units beside, margins, warnings."""

from __future__ import annotations

import math

from blownwing.aircraft import rules
from blownwing.aircraft.climb import FailureClimb
from blownwing.aircraft.configuration import aircraft_of
from blownwing.aircraft.failure import FailedTakeOff
from blownwing.aircraft.performance import Performance
from blownwing.aircraft.vspeeds import named_speeds
from blownwing.case.units import FOOT, GRAVITY, KNOT, POUND
from blownwing.report.aircraft_warnings import trust, warnings
from blownwing.report.assumed import assumed
from blownwing.report.words import ASSUMED, WARNINGS
from blownwing.solution.groups import Words
from blownwing.trim.settings import limits_of

NAUTICAL_MILE = 1852.0  # m
POUND_PER_SQUARE_FOOT = POUND * GRAVITY / FOOT**2  # N/m²

_NEAREST = 3  # limits of a drawn aircraft that are named
Row = tuple[str, str, str]


def speed_text(value: float) -> str:
    """A speed, `value` in m/s, in m/s and kt."""
    return f"{value:.1f} m/s ({value / KNOT:.0f} kt)"


def length_text(value: float) -> str:
    """A length, `value` in m, in m and ft."""
    return f"{value:.0f} m ({value / FOOT:.0f} ft)"


def rate_text(value: float) -> str:
    """A rate of climb, `value` in m/s, in m/s and ft/min."""
    return f"{value:+.1f} m/s ({60.0 * value / FOOT:+.0f} ft/min)"


def range_text(value: float) -> str:
    """A range, `value` in m, in km and nautical miles."""
    return f"{value / 1000.0:.0f} km ({value / NAUTICAL_MILE:.0f} nmi)"


def aircraft_words(performance: Performance) -> Words:
    """An aircraft's results in words: SI with the trade's units beside, warnings, trust.

    Raises InputError for a blade file that cannot be read any more.
    """
    p, aircraft = performance, aircraft_of(performance.case)
    loading = p.wing_loading
    lead = (
        f"{aircraft.mass:.0f} kg, W/S {loading:.0f} N/m² "
        f"({loading / POUND_PER_SQUARE_FOOT:.1f} lb/ft²), battery "
        f"{aircraft.battery.specific_energy:.0f} Wh/kg, "
        f"{aircraft.battery.usable_energy / 3.6e6:.1f} kWh usable"
    )
    sections = (
        ("Take-off", _take_off(p)),
        ("Speeds", _speeds(p)),
        ("Stall and approach", _stall(p)),
        ("Landing", _landing(p)),
        ("Climb and failed motor", _climb(p)),
        ("Balance", _balance(p)),
        ("Noise of take-off, tones only", _noise(p)),
        ("Cruise", _cruise(p)),
        ("Mission and gusts", _mission(p)),
    )
    lists = [
        (WARNINGS, tuple(warnings(p))),
        ("How far to trust this", tuple(trust(p))),
        (ASSUMED, tuple(assumed(p.case))),
    ]
    return Words(
        lead,
        tuple((name, tuple(rows)) for name, rows in sections if rows),
        tuple((name, lines) for name, lines in lists if lines),
    )


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
    name = f"{failure.propeller} fails"
    rows.append((name, length_text(failure.field), _failure_words(failure)))
    if p.controlled is not None:
        raised, later = p.controlled
        rows.append(
            (
                "Lift-off raised",
                length_text(max(raised.distance, later.field)),
                f"to {speed_text(raised.lift_off)}, {rules.VMC_MARGIN.value:g} VMC: all motors "
                f"{raised.distance:.0f} m; failure {_failure_words(later)}",
            )
        )
    return rows


def _failure_words(failure: FailedTakeOff) -> str:
    where = f"at {failure.speed:.1f} m/s: stop {failure.stopping:.0f} m"
    if failure.going is None:
        return f"{where}, which governs: going on is not possible"
    balanced = " (balanced)" if failure.is_balanced else ""
    return f"{where}, continue {failure.going:.0f} m{balanced}"


def _speeds(p: Performance) -> list[Row]:
    rows = []
    for item in named_speeds(p):
        words = [item.meaning]
        if item.over_stall is not None:
            words.append(f"{item.over_stall:.2f} Vs")
        if item.over_control is not None:
            words.append(f"{item.over_control:.2f} VMC")
        if item.wanted is not None:
            words.append(f"{'BELOW' if item.is_short else 'at least'} {item.wanted:.1f}")
        rows.append((item.name, speed_text(item.speed), ", ".join(words)))
    return rows


def _stall(p: Performance) -> list[Row]:
    rows = []
    is_held = bool(p.tables["approach"].configuration.held)
    full = "Approach, full lever" if is_held else "Approach, full thrust"
    names = {
        "take_off unblown": "Take-off, zero thrust",
        "take_off blown": "Take-off, blown",
        "take_off failed": "Take-off, motor failed",
        "approach unblown": "Approach, zero thrust",
        "approach blown": full,
        "clean unblown": "Clean, zero thrust",
        "cruise unblown": "At cruise altitude",
    }
    for key, name in names.items():
        item = p.stalls[key]
        words = f"CL {item.CLmax:.2f} (wing {item.wing_CL:.2f}), α {item.alpha:.1f}°"
        words += f", limit of the {item.by_tail}" if item.by_tail else ""
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


def _landing(p: Performance) -> list[Row]:
    landing, setup = p.landing, aircraft_of(p.case).landing
    reverse = f", reverse {landing.reverse:.0f} N" if landing.reverse else ""
    return [
        (
            f"From {aircraft_of(p.case).take_off.obstacle / FOOT:.0f} ft",
            length_text(landing.distance),
            f"approach {landing.approach:.0f} m, flare {landing.flare:.0f} m from "
            f"{landing.height:.1f} m",
        ),
        (
            "Touchdown",
            speed_text(landing.touchdown),
            f"free roll {landing.free:.0f} m, brakes {landing.braked:.0f} m{reverse}",
        ),
        ("Field", length_text(landing.field), f"factor {setup.factor:g}"),
    ]


def _climb(p: Performance) -> list[Row]:
    steep, best, again = p.best_gradient, p.best_rate, p.go_around
    rows = [
        ("Take-off flaps", f"{100.0 * steep.gradient:.1f} %", f"at {speed_text(steep.speed)}, "
         f"trim drag {steep.trim_drag:.0f} N"),
        ("Clean", rate_text(best.rate), f"at {speed_text(best.speed)}"),
        ("Balked landing", f"{100.0 * again.gradient:.1f} %", f"at {speed_text(again.speed)}"),
    ]  # fmt: skip
    for item in p.failures:
        name = "Motor failed" if len(item.failed) == 1 else "and opposite off"
        rows.append((name, f"{100.0 * item.gradient:.1f} %", _holding(item)))
    return rows


def _balance(p: Performance) -> list[Row]:
    """Of a drawn aircraft: the control that pitches it, and where controls run out."""
    pitch = p.tables["take_off"].configuration.pitch
    if pitch is None:
        return []
    least, most = limits_of(pitch)
    steep, cruise, final = p.best_gradient, p.cruise_at, p.approach
    rows = [
        (f"{pitch.name.capitalize()}", f"{state.control:+.1f}°", f"{where} at "
         f"{speed_text(state.speed)}; limits {least:+g} to {most:+g}°")
        for where, state in (("take-off climb", steep), ("approach", final), ("cruise", cruise))
    ]  # fmt: skip
    control = p.failed_take_off.control
    if control is None:
        return rows
    words = f"{control.air_limit} runs out below, all axes held, bank at most 5°"
    if control.air_limit == "stall":
        words = "the stall: controls hold down to it"
    rows.append(("Held in the air", speed_text(control.air), words))
    if control.ground > 0.0:
        words = f"{control.ground_limit} runs out below, yaw alone"
        rows.append(("Held on the ground", speed_text(control.ground), words))
    return rows


def _holding(item: FailureClimb) -> str:
    """What holds the moments of a failure, and whether it does."""
    held = "held" if item.is_held else "NOT HELD"
    if item.roll_available is None:
        near = sorted(item.limits, key=lambda limit: -limit.share)
        words = [f"{one.name} {one.value:+.1f} of {one.end:+g}" for one in near[:_NEAREST]]
        if abs(item.sideslip) >= 0.05:
            words.append(f"sideslip {item.sideslip:+.1f}°")
        return ", ".join([*words, held])
    yaw = "" if item.yaw_available is None else f" of {item.yaw_available:.3f}"
    return f"C_roll {item.roll:.3f} of {item.roll_available:.3f}, C_yaw {item.yaw:.3f}{yaw}, {held}"


def _noise(p: Performance) -> list[Row]:
    if p.noise is None:
        return []
    places = aircraft_of(p.case).noise
    rows = []
    for name, heard in (
        (f"{places.fly_over:.0f} m below", p.noise.fly_over),
        (f"{places.edge:.0f} m beside", p.noise.edge),
    ):
        i = heard.loudest
        rows.append(
            (
                name,
                f"{heard.incoherent[i]:.0f} dB",
                f"loudest at {heard.angle[i]:.0f}°; {heard.best[i]:.0f} to {heard.worst[i]:.0f} "
                "dB by the blades' phases",
            )
        )
    return rows


def _cruise(p: Performance) -> list[Row]:
    at, far, long = p.cruise_at, p.best_range, p.best_endurance
    slow = long.speed / p.stalls["cruise unblown"].speed
    open_end = ", the slowest looked at" if p.is_endurance_open else ""
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
        ("Endurance, at least" if p.is_endurance_open else "Best endurance",
         f"{long.endurance / 60.0:.0f} min",
         f"at {speed_text(long.speed)}, {slow:.2f} Vs{open_end}"),
    ]  # fmt: skip


def _mission(p: Performance) -> list[Row]:
    mission = p.mission
    spent: dict[str, float] = {}
    for s in mission.segments:
        spent[s.name] = spent.get(s.name, 0.0) + s.energy / 3.6e6
    parts = ", ".join(f"{name} {energy:.1f}" for name, energy in spent.items())
    rows = [
        ("Mission range", range_text(mission.range), f"kWh: {parts}"),
        *_limits(p),
    ]
    for check in p.checks:
        rows.append(
            (
                f"Energy, {check.where}",
                f"{100.0 * check.error:+.1f} %",
                f"work solved anew less energy gained, of thrust work; {check.altitude:.0f} m, "
                f"{check.speed:.1f} m/s",
            )
        )
    gust = aircraft_of(p.case).cruise.gust
    for name in ("cruise", "approach"):
        blown, bare = p.gusts[f"{name} blown"], p.gusts[f"{name} unblown"]
        rows.append(
            (
                f"Gust, {name}",
                f"Δn {blown.added:.2f}",
                f"unblown {bare.added:.2f}; gust of {gust:.1f} m/s ({gust / FOOT:.0f} ft/s)"
                + _stalls_first(1.0 + blown.added, p.gust_limits[name]),
            )
        )
    return rows


def _stalls_first(load: float, limit: float) -> str:
    """What limits a gust's load factor before the linear formula's is reached."""
    return f"; the wing stalls first, at n {limit:.2f}" if load > limit else ""


def _limits(p: Performance) -> list[Row]:
    """Battery and motors against their limits over the mission."""
    battery, mission = aircraft_of(p.case).battery, p.mission
    limit = battery.power_limit
    allowed = (
        f"limit {limit / 1000.0:.0f} kW, {limit / battery.capacity:.1f} C"
        if math.isfinite(limit)
        else "no limit given (aircraft.battery.c_rate, power)"
    )
    most = max(mission.segments, key=lambda s: s.power)
    rows = [
        (
            "Battery, most",
            f"{mission.peak_power / 1000.0:.0f} kW",
            f"{mission.peak_power / battery.capacity:.1f} C in {most.name}; {allowed}",
        )
    ]
    for duty in p.duties:
        if duty.minutes > 0.0:
            allowed = "" if duty.allowed is None else f" of {duty.allowed:.1f}"
            rows.append(
                (
                    f"Motor, {duty.propellers[0]}",
                    f"{duty.minutes:.1f} min",
                    f"above its {duty.continuous / 1000.0:.1f} kW{allowed}; "
                    f"{duty.most / 1000.0:.1f} kW at most",
                )
            )
    return rows
