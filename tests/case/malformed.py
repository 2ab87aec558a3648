"""Case files that must each be refused in one sentence.

`MALFORMED` lists (id, TOML text, fragment of the message): the fragment holds the line and the
dotted key of the fault. Most are one edit away from `GOOD`, which is a valid case.
"""

from __future__ import annotations

GOOD = """\
title = "a valid case"
[flow]
airspeed = 30.0
alpha = 4.0
[wing]
symmetric = true
[[wing.stations]]
y = 0.0
chord = 1.2
airfoil = "naca2412"
[[wing.stations]]
y = 5.0
chord = 0.9
airfoil = "flat"
[[wing.flaps]]
from = 0.1
to = 0.5
chord_fraction = 0.25
deflection = 10.0
[[propellers]]
name = "inner"
position = [-0.5, 1.5, 0.0]
diameter = 0.8
blades = 5
blade = "inner.csv"
spin = "inboard_up"
mirror = true
rpm = 3000.0
[[propellers]]
name = "outer"
kind = "disc"
position = [-0.5, 3.0, 0.0]
diameter = 0.8
mirror = true
thrust = 200.0
[model]
chordwise = 6
spanwise = 24
"""


def _edit(old: str, new: str) -> str:
    if GOOD.count(old) < 1:
        raise ValueError(f"the valid case has no {old!r}")
    return GOOD.replace(old, new, 1)


_NEAR_OUTER = "[-0.5, 3.0, 0.0]"

MALFORMED: list[tuple[str, str, str]] = [
    (
        "half_model_without_its_image",
        _edit("symmetric = true", "symmetric = true\nhalf_model = true").replace(
            "airspeed = 30.0", "airspeed = 30.0\nbeta = 5.0"
        ),
        "line 8: wing.half_model: found true in a case whose halves differ",
    ),
    # wrong types
    ("airspeed_text", _edit("30.0", '"fast"'), 'line 3: flow.airspeed: found "fast"'),
    ("airspeed_bool", _edit("30.0", "true"), "line 3: flow.airspeed: found true"),
    ("airspeed_unit", _edit("30.0", '"60 knots"'), "accepted are m/s, km/h, kt, mph, ft/s, ft/min"),
    ("airspeed_bare_text", _edit("30.0", '"30"'), "line 3: flow.airspeed: found"),
    ("flow_number", "flow = 3\n[wing]\n[[wing.stations]]\ny = 0", "line 1: flow: found 3"),
    ("mirror_number", _edit("mirror = true", "mirror = 1"), "line 27: propellers[0].mirror"),
    ("blades_float", _edit("blades = 5", "blades = 5.5"), "line 24: propellers[0].blades"),
    ("title_number", _edit('"a valid case"', "7"), "line 1: title: found 7"),
    ("position_short", _edit(_NEAR_OUTER, "[-0.5, 3.0]"), "line 32: propellers[1].position"),
    ("position_word", _edit(_NEAR_OUTER, '[0, "far", 0]'), "line 32: propellers[1].position[1]"),
    (
        "one_propeller_table",
        _edit('[[propellers]]\nname = "inner"', '[propellers]\nname = "i"').split("[[propellers]]")[
            0
        ],
        "line 20: propellers: found a table; accepted is a list",
    ),
    ("alpha_empty", _edit("alpha = 4.0", "alpha = []"), "line 4: flow.alpha"),
    ("alpha_list_word", _edit("alpha = 4.0", 'alpha = [0, "up"]'), "line 4: flow.alpha[1]"),
    ("alpha_far", _edit("alpha = 4.0", "alpha = 91"), "line 4: flow.alpha"),
    # NaN, infinity, numbers past the floats
    ("airspeed_nan", _edit("30.0", "nan"), "line 3: flow.airspeed: found nan"),
    ("airspeed_inf", _edit("30.0", "inf"), "line 3: flow.airspeed: found inf"),
    ("airspeed_huge", _edit("30.0", "1" + "0" * 400), "line 3: flow.airspeed: found 1000"),
    ("digits", _edit("30.0", "1" * 5000), "too many digits"),
    ("position_nan", _edit(_NEAR_OUTER, "[nan, 3, 0]"), "line 32: propellers[1].position[0]"),
    # missing
    ("no_airspeed", _edit("airspeed = 30.0\n", ""), "line 2: flow.airspeed: this key is missing"),
    ("no_flow", _edit("[flow]\nairspeed = 30.0\nalpha = 4.0\n", ""), "flow: this key is missing"),
    (
        "no_chord",
        _edit("chord = 0.9\n", ""),
        "line 11: wing.stations[1].chord: this key is missing",
    ),
    ("no_blade", _edit('blade = "inner.csv"\n', ""), "line 20: propellers[0].blade: this key"),
    ("no_spin", _edit('spin = "inboard_up"\n', ""), "line 20: propellers[0].spin: this key"),
    ("no_from", _edit("from = 0.1\n", ""), "line 15: wing.flaps[0].from: this key is missing"),
    (
        "one_station",
        "[flow]\nairspeed = 3\n[wing]\n[[wing.stations]]\ny = 0\nchord = 1",
        "line 4: wing.stations: found a list of 1; accepted is a list of 2 or more",
    ),
    ("empty", "", "flow: this key is missing"),
    # unknown keys
    ("misspelt", _edit("airspeed", "airspead"), "line 3: flow.airspead: unknown key (did you mean"),
    ("misspelt_from", _edit("from", "fron"), "line 16: wing.flaps[0].fron: unknown key (did you"),
    ("misspelt_table", _edit("[flow]", "[flwo]"), 'line 2: flwo: unknown key (did you mean "flow"'),
    ("unknown", _edit("chordwise", "colour"), "line 37: model.colour: unknown key; accepted are"),
    ("from_twice", _edit("from = 0.1", "from = 0.1\nstart = 0.1"), "wing.flaps[0].start: unknown"),
    (
        "misspelt_spin",
        _edit("inboard_up", "inbord_up"),
        'line 26: propellers[0].spin: found "inbord',
    ),
    # out of range
    ("diameter", _edit("diameter = 0.8", "diameter = -0.8"), "line 23: propellers[0].diameter"),
    ("diameter_zero", _edit("diameter = 0.8", 'diameter = "0 in"'), "line 23: propellers[0].diam"),
    ("chord_negative", _edit("chord = 0.9", "chord = -0.9"), "line 13: wing.stations[1].chord"),
    ("airspeed_negative", _edit("30.0", "-1.0"), "line 3: flow.airspeed: found -1.0"),
    ("altitude", _edit("alpha", "altitude = 30000\nalpha"), "line 4: flow.altitude: found 30000"),
    ("flap_chord", _edit("= 0.25", "= 0.7"), "line 18: wing.flaps[0].chord_fraction: found 0.7"),
    ("tolerance", _edit("chordwise", "tolerance = 0.1\nchordwise"), "line 37: model.tolerance"),
    ("sections", _edit("chordwise", 'sections = "table"\nchordwise'), "line 37: model.sections"),
    # the wing
    ("stations_cross", _edit("y = 5.0", "y = -5.0"), "line 12: wing.stations[1].y"),
    ("stations_same", _edit("y = 5.0", "y = 0.0"), "line 12: wing.stations[1].y"),
    ("off_centre", _edit("y = 0.0", "y = 0.5"), "line 8: wing.stations[0].y"),
    (
        "naca",
        _edit("naca2412", "naca26012"),
        'line 10: wing.stations[0].airfoil: found "naca26012"',
    ),
    ("naca_short", _edit("naca2412", "naca212"), "line 10: wing.stations[0].airfoil"),
    ("airfoil", _edit("naca2412", "thin"), 'line 10: wing.stations[0].airfoil: found "thin"'),
    ("flap_outside", _edit("to = 0.5", "to = 1.2"), "line 17: wing.flaps[0].to: found 1.2"),
    ("flap_reversed", _edit("to = 0.5", "to = 0.05"), "line 17: wing.flaps[0].to: found 0.05"),
    (
        "flaps_overlap",
        _edit(
            "[[propellers]]",
            "[[wing.flaps]]\nfrom = 0.4\nto = 0.9\nchord_fraction = 0.3\n"
            "deflection = 5\n[[propellers]]",
        ),
        "line 21: wing.flaps[1].from: found a flap from 0.4",
    ),
    # propellers
    (
        "measured_no_table",
        _edit('blade = "inner.csv"', 'kind = "measured"'),
        'propellers[0].table: this key is missing, needed with kind = "measured"',
    ),
    (
        "measured_and_blade",
        _edit('blade = "inner.csv"', 'kind = "measured"\ntable = "t.csv"\nblade = "inner.csv"'),
        'propellers[0].blade: found "inner.csv"; not accepted with kind = "measured"',
    ),
    (
        "blades_and_shape",
        _edit('blade = "inner.csv"', 'blade = "inner.csv"\nshape = "inner.csv"'),
        'propellers[0].shape: found "inner.csv"; not accepted with kind = "blade"',
    ),
    (
        "measured_stopped",
        _edit('blade = "inner.csv"', 'kind = "measured"\ntable = "t.csv"').replace(
            "rpm = 3000.0", "rpm = 0"
        ),
        "propellers[0].rpm: found 0; a table over J knows no stopped propeller",
    ),
    (
        "table_of_blades",
        _edit('blade = "inner.csv"', 'blade = "inner.csv"\ntable = "t.csv"'),
        'propellers[0].table: found "t.csv"; not accepted with kind = "blade"',
    ),
    (
        "solidity_of_blades",
        _edit('blade = "inner.csv"', 'blade = "inner.csv"\nsolidity = 0.1'),
        "propellers[0].solidity: found 0.1",
    ),
    (
        "table_of_a_disc",
        _edit("thrust = 200.0", 'thrust = 200.0\ntable = "t.csv"'),
        "propellers[1].table: found",
    ),
    (
        "two_drives",
        _edit("rpm = 3000.0", "rpm = 3000.0\npower = 9e3"),
        "line 29: propellers[0].power",
    ),
    ("no_drive", _edit("rpm = 3000.0\n", ""), "line 20: propellers[0]: found none"),
    (
        "pitch_trim",
        _edit("rpm = 3000.0", 'thrust = 9\ntrim = "pitch"'),
        "line 20: propellers[0]: trim",
    ),
    ("idle_trim", _edit("rpm = 3000.0", 'rpm = 9\ntrim = "rpm"'), "line 29: propellers[0].trim"),
    (
        "disc_rpm",
        _edit("thrust = 200.0", "thrust = 200.0\nrpm = 900"),
        "line 36: propellers[1].rpm",
    ),
    (
        "disc_two",
        _edit("= 200.0", "= 200.0\nspeed_ratio = 2"),
        "line 36: propellers[1].speed_ratio",
    ),
    ("disc_drag", _edit("= 200.0", "= -200.0"), "line 35: propellers[1].thrust: found -200"),
    (
        "blade_ratio",
        _edit("rpm = 3000.0", "speed_ratio = 2.0"),
        "line 28: propellers[0].speed_ratio",
    ),
    (
        "static_ratio",
        _edit("thrust = 200.0", "speed_ratio = 2.0").replace("30.0", "0.0"),
        "line 35: propellers[1].speed_ratio: found 2 at zero airspeed",
    ),
    (
        "spin_centre",
        _edit("[-0.5, 1.5, 0.0]", "[-0.5, 0, 0]").replace("mirror = true\n", "", 1),
        'line 26: propellers[0].spin: found "inboard_up" for a propeller on the centre line',
    ),
    ("mirror_centre", _edit(_NEAR_OUTER, "[-0.5, 0, 0]"), "line 34: propellers[1].mirror"),
    ("twin_spin", _edit("mirror = true", 'twin_spin = "clockwise"'), "line 27: propellers[0].twin"),
    (
        "name_twice",
        _edit('"outer"', '"inner"'),
        'line 30: propellers[1].name: found "inner" a second',
    ),
    ("name_of_twin", _edit('"outer"', '"inner_port"'), "line 30: propellers[1].name"),
    ("name_all", _edit('"outer"', '"all"'), "line 30: propellers[1].name"),
    ("name_space", _edit('"outer"', '"far out"'), "line 30: propellers[1].name"),
    ("discs_cut", _edit(_NEAR_OUTER, "[-0.5, 2.0, 0.0]"), "line 32: propellers[1].position: disc"),
    (
        "disc_within",
        _edit(_NEAR_OUTER, "[-0.4, 1.5, 0.0]"),
        "line 32: propellers[1].position: disc",
    ),
    ("cuts_twin", _edit(_NEAR_OUTER, "[-0.5, 0.3, 0.0]"), 'disc "outer_port" cuts disc "outer"'),
    ("cuts_wing", _edit(_NEAR_OUTER, "[0.4, 3.0, 0.1]"), "line 32: propellers[1].position: disc"),
    ("tip_mach", _edit("= 3000.0", "= 9000.0"), "line 28: propellers[0].rpm: found 9000"),
    ("blade_blank", _edit("inner.csv", " "), "line 25: propellers[0].blade"),
    # whole case
    ("mach", _edit("30.0", "280.0"), "line 3: flow.airspeed: found Mach 0.823"),
    ("mach_given", _edit("alpha", "mach = 0.9\nalpha"), "line 4: flow.mach: found Mach 0.9"),
    (
        "ground",
        _edit("alpha", "ground_height = 0.3\nalpha"),
        "line 4: flow.ground_height: found 0.3",
    ),
    ("matrix", GOOD + 'matrix = "sparse"\n', "line 39: model.matrix"),
    ("strips", _edit("spanwise = 24", "spanwise = 999999999"), "line 38: model.spanwise"),
    # not TOML
    ("syntax", _edit("alpha = 4.0", "alpha ="), "line 4: not valid TOML"),
    ("unclosed", GOOD + 'note = "', "not valid TOML"),
    ("key_twice", _edit("alpha = 4.0", "alpha = 4.0\nalpha = 5.0"), "line 5: not valid TOML"),
    ("table_twice", GOOD + "[flow]\n", "line 39: not valid TOML"),
    ("nested", "a = " + "[" * 9000, "not valid TOML"),
]
