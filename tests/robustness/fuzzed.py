"""Strategies that make case files wrong in many ways, and the small case they start from."""

import tomllib

from hypothesis import strategies as st

from blownwing.case.writer import toml_text

GOOD = """
title = "Small case"
[flow]
airspeed = 30.0
altitude = "2000 ft"
alpha = 4.0
[wing]
symmetric = true
reference_point = [0.25, 0.0, 0.0]
[[wing.stations]]
y = 0.0
chord = 1.0
airfoil = "naca2412"
[[wing.stations]]
y = 3.0
x = 0.1
chord = 0.8
twist = -1.0
airfoil = "naca0012"
[[wing.flaps]]
from = 0.1
to = 0.5
chord_fraction = 0.25
deflection = 10.0
kind = "plain"
[[propellers]]
name = "fan"
kind = "disc"
position = [-0.6, 1.5, 0.0]
diameter = 0.8
mirror = true
thrust = 80.0
[[propellers]]
name = "jet"
kind = "disc"
position = [-0.6, 2.6, 0.05]
diameter = 0.5
speed_ratio = 1.2
mirror = true
[model]
jet_edge = true
chordwise = 2
spanwise = 8
jet_around = 8
jet_rings = 6
max_iterations = 40
"""
SIZES = {"chordwise", "spanwise", "jet_around", "jet_rings", "radial", "azimuth", "max_iterations"}

numbers = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True),
    st.floats(-10.0, 10.0),
    st.integers(-(10**20), 10**20),
    st.sampled_from([0.0, -0.0, 1e-300, 1e300, 1e-12, 90.0, 359.0, -1.0, 5e-324]),
)
words = st.one_of(
    st.text(max_size=12),
    st.sampled_from(["18 in", "60 kt", "1e9 m", "-5 m", "5 parsec", "naca9999", "naca0000", "flat",
                     "naca23012", "../x.csv", "inboard_up", "blade", "disc", "tables", "",
                     "𝟙 m", "٣ m", "1_0 m"]),
)  # fmt: skip
values = st.recursive(
    st.one_of(numbers, words, st.booleans()),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(st.sampled_from(["x", "y", "name", "chord"]), inner, max_size=3),
    ),
    max_leaves=5,
)


def places(tables, path=()):
    """Paths of everything in nested tables, tables and lists included."""
    items = tables.items() if isinstance(tables, dict) else enumerate(tables)
    for key, item in items:
        yield (*path, key)
        if isinstance(item, dict | list):
            yield from places(item, (*path, key))


@st.composite
def edited_tables(draw, sizes=True):
    """The good case with one to three values replaced, taken away, doubled or added."""
    tables = tomllib.loads(GOOD)
    for _ in range(draw(st.integers(1, 3))):
        spots = [p for p in places(tables) if sizes or p[-1] not in SIZES]
        path = draw(st.sampled_from(spots))
        node = tables
        for key in path[:-1]:
            node = node[key]
        what = draw(st.sampled_from(["put", "put", "put", "drop", "double", "add"]))
        if what == "put":
            node[path[-1]] = draw(values)
        elif what == "drop":
            del node[path[-1]]
        elif what == "double" and isinstance(node, list):
            node.append(node[path[-1]])
        elif isinstance(node, dict):
            node[draw(st.sampled_from(["chrod", "y", "mirror", "rpm", "zz"]))] = draw(values)
        if not tables:
            break
    return tables


def as_text(tables):
    """TOML text of tables, or None for what TOML cannot hold (mixed lists of tables)."""
    try:
        text = toml_text(tables)
        tomllib.loads(text)
    except (ValueError, AttributeError, TypeError):
        return None
    return text


@st.composite
def torn_texts(draw):
    """The good case with characters changed, lines dropped or doubled, or cut off."""
    text = GOOD
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, max(len(text) - 1, 0)))
        what = draw(st.sampled_from(["cut", "put", "drop", "line"]))
        if what == "cut":
            text = text[:at] if draw(st.booleans()) else text[at:]
        elif what == "put":
            text = text[:at] + draw(st.text(max_size=3)) + text[at + 1 :]
        elif what == "drop":
            text = text[:at] + text[at + draw(st.integers(1, 20)) :]
        else:
            rows = text.split("\n")
            row = draw(st.integers(0, len(rows) - 1))
            rows.insert(draw(st.integers(0, len(rows))), rows[row])
            text = "\n".join(rows)
    return text
