"""What a designer must not overlook in an aircraft's results, and how far to trust them."""

from __future__ import annotations

from blownwing.aircraft import rules
from blownwing.aircraft.configuration import STALLED_AREA, aircraft_of
from blownwing.aircraft.performance import Performance
from blownwing.aircraft.power import battery_share
from blownwing.aircraft.vspeeds import named_speeds


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
    lowest = "Zero thrust"
    if p.tables["approach"].configuration.held:
        lowest = "The thrust of the propellers that hold a setting"
    if not final.holds_path:
        found.append(
            f"{lowest} is too much for the approach path of {aircraft.approach.path:.1f}°; "
            f"{final.path:.1f}° is flown. More drag or a shallower path is needed."
        )
    found += _dependence(p)
    runway = aircraft.take_off.runway
    failure = p.failed_take_off
    longest = max(p.take_off.distance, failure.field)
    if runway is not None and longest > runway:
        found.append(f"The take-off needs {longest:.0f} m, the runway has {runway:.0f} m.")
    if runway is not None and p.landing.field > runway:
        found.append(f"The landing needs {p.landing.field:.0f} m, the runway has {runway:.0f} m.")
    if failure.going is None:
        found.append(
            f"Motor failed in the take-off: it cannot be continued; {failure.why_not}. The "
            f"accelerate-stop distance of {failure.stopping:.0f} m governs."
        )
    elif failure.why_not:
        found.append(f"Motor failed: {failure.why_not}.")
    if failure.control is not None and not failure.control.checks_yaw:
        found.append(
            "Yaw with a motor failed is not checked: the case has no aircraft.controls.fin_area."
        )
    found += _limit_warnings(p)
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


def _dependence(p: Performance) -> list[str]:
    """Where lift-off and touchdown hang on thrust."""
    found, final = [], p.approach
    cut = p.take_off.lift_off / p.stalls["take_off unblown"].speed
    if cut < rules.ROTATION.value:
        found.append(
            f"Lift-off is at {cut:.2f} of the stall speed at zero thrust: flight depends on thrust."
        )
    failed = p.take_off.lift_off / p.stalls["take_off failed"].speed
    if failed < rules.ROTATION.value:
        found.append(f"Lift-off is at {failed:.2f} of the stall speed with the motor failed.")
    if p.landing.keeps_thrust:
        found.append(
            f"Touchdown at {p.landing.touchdown:.1f} m/s is below the stall speed without thrust, "
            f"{final.unblown_stall_speed:.1f} m/s: thrust has to stay until the wheels are down."
        )
    return found


def _limit_warnings(p: Performance) -> list[str]:
    """Battery, motors, gusts and propellers at their limits."""
    battery, found = aircraft_of(p.case).battery, []
    limit = battery.power_limit
    if p.mission.peak_power > limit * 1.002:
        found.append(
            f"The battery gives {p.mission.peak_power / 1000.0:.0f} kW at most, its limit is "
            f"{limit / 1000.0:.0f} kW."
        )
    fed = battery_share(p.case, p.tables["take_off"].configuration)
    if fed < 1.0:
        found.append(
            f"The battery's limit of {limit / 1000.0:.0f} kW holds the motors to "
            f"{100.0 * fed:.0f} % of their power in take-off."
        )
    for duty in p.duties:
        if not duty.is_kept:
            found.append(
                f"Motors of {', '.join(duty.propellers)} give more than their continuous "
                f"{duty.continuous / 1000.0:.1f} kW for {duty.minutes:.1f} min, "
                f"{duty.allowed:.1f} min are allowed."
            )
    for name, speed in p.fastest.items():
        found.append(
            f"In {name.replace('_', ' ')} a fixed-pitch propeller turns at its motor's limit "
            f"without thrust from {speed:.1f} m/s on: nothing faster is looked at."
        )
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
        f"Orientation, {item.rule}: {item.name} of {item.wanted:.1f} m/s or more for stall and "
        f"control, found {item.speed:.1f}."
        for item in named_speeds(p)
        if item.is_short
    ]
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
    if aircraft.approach.path < rules.PATH.value:
        found.append(
            f"Orientation, {rules.PATH.name}: {rules.PATH.text} of {rules.PATH.value:.1f}°, the "
            f"case has {aircraft.approach.path:.1f}°."
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
        *_noise_words(p),
        f"Margins and gradients quote 14 CFR 23 as orientation, not as compliance. "
        f"{rules.POWERED_STALL.name}: {rules.POWERED_STALL.text}.",
    ]
    return notes


def _noise_words(p: Performance) -> list[str]:
    if p.noise is None:
        return []
    words = (
        "Noise: Gutin's tones of steady blades; broadband noise, by which small slow blades are "
        "mostly heard, the wing's wakes, the ground and forward speed are left out."
    )
    if p.noise.left_out:
        words += f" Without tones: {', '.join(p.noise.left_out)}."
    return [words]


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
