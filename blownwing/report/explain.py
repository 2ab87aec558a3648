"""A case in words, before it is solved: what would be computed and how large it is."""

from __future__ import annotations

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from blownwing.case.model import Case
from blownwing.case.parts import Flap, Propeller
from blownwing.case.placed import PlacedPropeller
from blownwing.coupling.size import expected_size, fits
from blownwing.report.layout import spin_words
from blownwing.report.trim_words import surfaces_words, trim_words

HALF = (
    "A half model on a reflection plane: forces and powers are those of the whole, model and "
    "image, and the half's, which a balance reads, stand beside them; coefficients are the same "
    "for both, over the whole and over the half area."
)


def print_case(case: Case, console: Console, margin: bool = False) -> None:
    """Print what a solve of ``case`` would do: flow, wing, lattice, propellers and model.

    margin: find the static margin of a trim's aircraft without propellers, which takes two solves
    and the files of its sections, and raises what `coupling.solve` does.
    """
    console.print(Text(case.title or "Untitled case", style="bold"))
    for name, sentence in (
        ("Flow", _flow(case)),
        ("Wing", _wing(case)),
        *((("Surfaces", surfaces_words(case)),) if case.surfaces else ()),
        *((("Trim", trim_words(case, margin)),) if case.trim is not None else ()),
        ("Lattice", _lattice(case)),
        ("Propellers", _propellers(case)),
        ("Model", _model(case)),
    ):
        console.print(Text(name, style="bold"))
        console.print(Padding(Text(sentence), (0, 0, 0, 2)))
        for line in _each_propeller(case) if name == "Propellers" else ():
            console.print(Padding(Text(line), (0, 0, 0, 4)))


def _flow(case: Case) -> str:
    flow, air = case.flow, case.air
    words = [
        f"{flow.airspeed:g} m/s at {flow.altitude:g} m (density {air.density:.4f} kg/m³, "
        f"speed of sound {air.speed_of_sound:.1f} m/s, Mach {case.mach:.3f})"
    ]
    if isinstance(flow.alpha, tuple):
        angles = ", ".join(f"{a:g}" for a in case.alphas)
        words.append(f"a polar of {len(case.alphas)} angles of attack: {angles}°")
    else:
        words.append(f"angle of attack {flow.alpha:g}°")
    if flow.beta:
        words.append(f"sideslip {flow.beta:g}°")
    for name in ("roll_rate", "pitch_rate", "yaw_rate"):
        if getattr(flow, name):
            words.append(f"{name.replace('_', ' ')} {getattr(flow, name):g}°/s")
    if flow.ground_height is not None:
        words.append(f"{flow.ground_height:g} m above the ground")
    return _sentence(words)


def _wing(case: Case) -> str:
    wing = case.wing
    words = [
        f"span {wing.span:.3f} m, reference area {wing.area:.3f} m², reference chord "
        f"{wing.chord:.3f} m, aspect ratio {wing.span**2 / wing.area:.2f}",
        f"{len(wing.stations)} stations {'mirrored to port' if wing.symmetric else 'tip to tip'}",
        *(["the starboard half is the model, on a reflection plane"] if wing.half_model else []),
        f"sections {', '.join(dict.fromkeys(s.airfoil for s in wing.stations))}",
        *map(_flap, wing.flaps),
    ]
    return _sentence(words)


def _flap(flap: Flap) -> str:
    kind = flap.kind.replace("_", " ")
    return (
        f"{kind} flap of {flap.chord_fraction:.0%} chord from {flap.start:.0%} to {flap.end:.0%} "
        f"of the semi-span, deflected {flap.deflection:g}°"
    )


def _lattice(case: Case) -> str:
    model = case.model
    count = len(case.propeller_list())
    size = expected_size(case)
    why = (
        "the half span is solved and mirrored"
        if case.is_symmetric
        else "the whole span is solved, since left and right differ"
    )
    return _sentence(
        [
            f"{model.chordwise} panels along the chord, {model.spanwise} strips per half span "
            f"({model.spacing} spacing): {why}",
            f"{size.panels} unknowns"
            + (", strips at slipstream edges included" if count else "")
            + (f", and {size.tubes} on the slipstreams' edges" if size.tubes else "")
            + f": {_bytes(size.bytes)} for their influence"
            + (", compressed" if size.compressed else "")
            + ("" if fits(size) else ", more than is free: a solve would be refused"),
        ]
    )


def _bytes(size: int) -> str:
    return f"{size / 2**20:.1f} MiB" if size < 2**30 else f"{size / 2**30:.2f} GiB"


def _propellers(case: Case) -> str:
    items = case.propeller_list()
    if not items:
        return "None: the wing alone is solved."
    twins = sum(item.is_twin for item in items)
    words = [f"{len(items)} in all, {twins} of them mirrored twins"]
    if any(item.definition.kind == "blade" for item in items):
        words.append(
            f"blades resolved into {case.model.radial} annuli and {case.model.azimuth} azimuths"
        )
    return _sentence(words)


def _each_propeller(case: Case) -> list[str]:
    """Return a line per propeller as written, its twin named in the same line."""
    items = case.propeller_list()
    lines = []
    for item in items:
        if item.is_twin:
            continue
        line = _propeller(item)
        for twin in items:
            if twin.is_twin and twin.index == item.index:
                line += f"; mirrored as {twin.name}"
                if twin.rotation:
                    line += f", {spin_words(twin.rotation, twin.position[1])}"
        lines.append(line)
    return lines


def _propeller(item: PlacedPropeller) -> str:
    x, y, z = item.position
    words = [f"{item.name}: at ({x:g}, {y:g}, {z:g}) m", f"diameter {item.definition.diameter:g} m"]
    if item.rotation:
        words.append(f"{item.definition.blades} blades, {spin_words(item.rotation, y)}")
        if item.definition.kind == "measured":
            words.append(_table_words(item.definition))
    else:
        words.append("ideal disc without swirl")
    if item.incidence:
        words.append(f"axis {item.incidence:g}° nose up")
    if item.toe:
        words.append(f"axis {item.toe:g}° nose to starboard")
    words.append(_operation(item.definition))
    return ", ".join(words)


def _table_words(propeller: Propeller) -> str:
    normal = "no normal force, for want of a solidity"
    if propeller.solidity is not None:
        normal = f"normal force of a solidity of {propeller.solidity:g}"
    elif propeller.shape is not None:
        normal = "normal force of its shape's solidity"
    shape = "of minimum loss" if propeller.shape is None else f"of the blades {propeller.shape}"
    return f"CT and CP from {propeller.table}, loading {shape}, {normal}"


def _operation(propeller: Propeller) -> str:
    if propeller.rpm == 0.0:
        return "stopped"
    if propeller.speed_ratio is not None:
        start = "from a nozzle" if propeller.nozzle else "from the disc on"
        return f"jet of {propeller.speed_ratio:g} times the airspeed and of constant radius {start}"
    wanted = None
    if propeller.thrust is not None:
        wanted = f"thrust {propeller.thrust:g} N"
    if propeller.power is not None:
        wanted = f"power {propeller.power:g} W"
    if wanted is None:
        return f"{propeller.rpm:g} rpm"
    if propeller.kind == "disc":
        return wanted
    if propeller.trim == "pitch":
        return f"{wanted} by pitch at {propeller.rpm:g} rpm"
    return f"{wanted} by rpm"


def _model(case: Case) -> str:
    model = case.model
    edge = "with their edges" if model.jet_edge else "as velocities added to the onset flow"
    compressible = "with" if model.compressibility else "without"
    return _sentence(
        [
            f"slipstreams {edge}",
            "sections from tables" if model.sections == "tables" else "linear sections",
            f"{compressible} compressibility correction",
            f"iterated to {model.tolerance:g} in at most {model.max_iterations} steps",
        ]
    )


def _sentence(words: list[str]) -> str:
    text = "; ".join(words)
    return f"{text[0].upper()}{text[1:]}."
