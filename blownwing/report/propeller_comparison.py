"""A designed propeller put to use: both blades analysed, and compared on one wing."""

from __future__ import annotations

import dataclasses
import math
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from blownwing.airfoil.library import is_known
from blownwing.case.model import Case
from blownwing.coupling import solve
from blownwing.errors import SolveError
from blownwing.propeller.blade import Blade, blade_text
from blownwing.propeller.design import (
    BladeDesign,
    minimum_loss_design,
)
from blownwing.propeller.finish import finished, finished_high_lift, stations_text
from blownwing.propeller.loading import unevenness
from blownwing.propeller.map import PerformanceMap, map_grid, performance_map
from blownwing.propeller.motor import Motor, MotorState, motor_state
from blownwing.propeller.motor_table import GearedTable, table_state
from blownwing.propeller.noise import Tones, ToneSource, gutin_tones
from blownwing.propeller.rotor import Rotor, RotorLoads, axial_inflow, build_rotor, solve_rotor
from blownwing.propeller.specification import Specification
from blownwing.propeller.task import DesignTask
from blownwing.report.figures import made_folder
from blownwing.solution.files import write_text
from blownwing.solution.map_files import save_map
from blownwing.study.shape.blade import best_lift_blade

ANNULI = 40
OBSERVER_DISTANCE = 50.0  # m, or the nearest place in the far field
OBSERVER_ANGLE = math.radians(105.0)  # from ahead: about where rotational noise is loudest
KINDS = ("minimum_loss", "high_lift")
# as many layers as there are, or the stream's profile is not seen
MODEL = {"chordwise": 4, "spanwise": 24, "radial": ANNULI, "jet_layers": 4}
SEARCH_MODEL = MODEL | {"radial": 24, "jet_layers": 3, "jet_around": 16, "jet_rings": 16,
                        "tolerance": 1e-6}  # fmt: skip
ENDS = (".csv", "_stations.csv", "_map.h5")


@dataclass(frozen=True)
class Product:
    """A designed blade with all that was found out about it.

    Attributes:
        design, blade, rotor: the blade. loads: at the design point, by blade elements.
        unevenness: of the axial velocity increment there. map: performance.
        motor: at the design point, if the specification has one. tones: 50 m away.
        lift_gain: lift of the blown over that of the unblown wing, N; lift_unblown: the latter, N.
            wing_power: of all
            propellers, W. wing_thrust: N.
    """

    design: BladeDesign
    blade: Blade
    rotor: Rotor
    loads: RotorLoads
    unevenness: float
    map: PerformanceMap
    motor: MotorState | None
    tones: Tones
    lift_gain: float
    lift_unblown: float
    wing_power: float
    wing_thrust: float

    @property
    def gain_per_kilowatt(self) -> float:
        """Lift gained by blowing per kilowatt of shaft power, N/kW."""
        return self.lift_gain / (1e-3 * self.wing_power)


def designed(
    spec: Specification,
    task: DesignTask,
    folder: Path,
    tell: Callable[[str], None] | None = None,
) -> tuple[list[Product], SolveError | None]:
    """The blades of a specification, their files written to `folder`.

    Makes the folder and writes `<kind>.csv` (blade), `<kind>_stations.csv` (for manufacture) and
    `<kind>_map.h5` (performance map) for each. tell: called now and then with a few words.

    Returns:
        The finished blades of minimum loss and for high lift, or only the first and why there is no
        second.

    Raises:
        InputError: the task or the comparison wing breaks a rule.
        SolveError: the first design or a coupled solve fails.
    """
    least = finished(minimum_loss_design(task))
    failure: SolveError | None = None
    designs = [least]
    with tempfile.TemporaryDirectory() as scratch:
        try:
            designs.append(_high_lift(spec, least, folder, Path(scratch), tell))
        except SolveError as error:
            failure = error
        products = [_product(spec, design, folder, Path(scratch)) for design in designs]
    made_folder(folder)  # not before: what fails on the way leaves nothing behind
    for product in products:
        kind = product.design.kind
        for path, text in (
            (folder / f"{kind}.csv", _design_text(product)),
            (folder / f"{kind}_stations.csv", stations_text(product.design)),
        ):
            write_text(path, text)
        save_map(product.map, folder / f"{kind}_map.h5", f"{spec.title}: {kind}")
    return products, failure


def _high_lift(
    spec: Specification,
    least: BladeDesign,
    folder: Path,
    scratch: Path,
    tell: Callable[[str], None] | None,
) -> BladeDesign:
    """The blade of most lift per power on the wing, or of an even stream where that is asked for.

    Raises:
        SolveError: it cannot be designed; names the keys that may help.
    """
    task, wanted = least.task, spec.high_lift.evenness
    if wanted is not None:
        try:
            return finished_high_lift(task, wanted * least.unevenness)
        except SolveError as error:
            raise SolveError(
                f"high_lift.evenness: found {wanted:g} of the minimum-loss blade's "
                f"{least.unevenness:.1%}; {error}; allow more, or change limits.chord_most, "
                "propeller.blades or propeller.rpm"
            ) from None

    def measure(design: BladeDesign) -> float:
        path = _blade_beside(design, folder, scratch)
        totals = solve(wing_case(spec, path, SEARCH_MODEL)).totals
        return float(totals["lift"] - totals["lift_unblown"]) / float(totals["power"])

    try:
        return best_lift_blade(task, measure, tell).design
    except SolveError as error:
        raise SolveError(
            f"high_lift: no blade for most lift per power: {error}; change limits.chord_most, "
            "limits.lift_coefficient, propeller.blades or propeller.rpm, or ask for "
            "high_lift.evenness"
        ) from None


def _blade_beside(design: BladeDesign, folder: Path, scratch: Path) -> Path:
    """A blade file in a scratch folder that finds its sections."""
    path = scratch / f"{design.kind}.csv"
    write_text(path, blade_text(_found_anywhere(design.blade(design.kind), folder)))
    return path


def blade_places(folder: Path, kinds: Sequence[str] = KINDS) -> list[Path]:
    """The files of blades and maps that `designed` writes."""
    return [folder / f"{kind}{end}" for kind in kinds for end in ENDS]


def _design_text(product: Product) -> str:
    design = product.design
    comments = (
        f"Unevenness of the axial velocity {design.unevenness:.3f}, efficiency "
        f"{design.efficiency:.3f}, solidity {design.solidity:.3f} at the design point.",
        "Concept-level estimate, not for flight clearance.",
    )
    return blade_text(product.blade, comments)


def _product(spec: Specification, design: BladeDesign, folder: Path, scratch: Path) -> Product:
    task = design.task
    blade = design.blade(design.kind)
    path = _blade_beside(design, folder, scratch)
    rotor = build_rotor(blade, task.diameter, task.blades, ANNULI)
    inflow = axial_inflow(rotor, task.airspeed)
    loads = solve_rotor(rotor, task.air, task.omega, 0.0, "clockwise", inflow)
    grid = spec.map
    table = performance_map(
        rotor,
        task.air,
        task.omega,
        *map_grid(
            (0.0, grid.advance_ratio),
            (math.radians(grid.pitch_from), math.radians(grid.pitch_to)),
            grid.points,
            grid.pitches,
        ),
    )
    totals = solve(wing_case(spec, path)).totals
    return Product(
        design=design,
        blade=blade,
        rotor=rotor,
        loads=loads,
        unevenness=unevenness(loads.axial_induced, rotor.r, rotor.edges),
        map=table,
        motor=_driven(spec.drive(), loads),
        tones=gutin_tones(
            ToneSource(loads.thrust, loads.power, task.omega, task.blades, task.diameter),
            task.air.speed_of_sound,
            max(OBSERVER_DISTANCE, 3.0 * task.diameter),
            OBSERVER_ANGLE,
        ),
        lift_gain=float(totals["lift"] - totals["lift_unblown"]),
        lift_unblown=float(totals["lift_unblown"]),
        wing_power=float(totals["power"]),
        wing_thrust=float(totals["thrust"]),
    )


def _found_anywhere(blade: Blade, folder: Path) -> Blade:
    """The blade with the paths of its sections, relative to a folder, made absolute."""
    names = tuple(
        name if is_known(name) else str((folder / name).resolve()) for name in blade.sections
    )
    return dataclasses.replace(blade, sections=names)


def verdict(spec: Specification, products: Sequence[Product]) -> str:
    """Say whether the high-lift blade is better in the measure that it is made for."""
    if len(products) < 2:
        return ""
    least, high = products
    gain = 100.0 * (high.gain_per_kilowatt / least.gain_per_kilowatt - 1.0)
    numbers = (
        f"{high.gain_per_kilowatt:.3f} against {least.gain_per_kilowatt:.3f} N/kW, {gain:+.2f} %"
    )
    lift = 100.0 * (high.lift_gain / least.lift_gain - 1.0)
    if gain > 0.0:
        return (
            f"The high-lift blade gains more lift per kilowatt on this wing ({numbers}; lift "
            f"gained {lift:+.2f} %)."
        )
    words = (
        f"The high-lift blade does not gain more lift per kilowatt on this wing ({numbers}; lift "
        f"gained {lift:+.2f} %): "
    )
    if spec.high_lift.evenness is None:
        return f"{words}of the loadings tried none is better here. Build the minimum-loss blade."
    return (
        f"{words}the even stream costs more power than it is worth here. Leave high_lift.evenness "
        "out for the blade that gains most, or build the minimum-loss blade."
    )


def wing_case(spec: Specification, blade: Path, model: Mapping[str, Any] = MODEL) -> Case:
    """The comparison wing with a row of one blade's propeller, trimmed to the design thrust.

    A specification by power gives every propeller that shaft power instead. Slipstreams have as
    many layers for every blade: where their number follows the profile, the profiles of two blades
    are not told apart, or told apart by their layers. Raises InputError for a wing
    that breaks a rule.
    """
    wing, point, sizes = spec.wing, spec.point, spec.propeller
    pitch = 0.5 * wing.span / wing.propellers
    aim = {"thrust": point.thrust} if point.thrust is not None else {"power": point.power}
    station = {"chord": wing.chord, "airfoil": wing.airfoil}
    propellers: list[dict[str, Any]] = [
        {
            "name": f"p{k + 1}",
            "position": [-wing.ahead, (k + 0.5) * pitch, 0.0],
            "diameter": sizes.diameter,
            "blades": sizes.blades,
            "blade": str(blade.resolve()),
            "spin": "inboard_up",
            "mirror": True,
            "hub_ratio": sizes.hub_ratio,
            "trim": "pitch",
            "rpm": sizes.rpm,
            **aim,
        }
        for k in range(wing.propellers)
    ]
    return Case.from_tables(
        {
            "title": f"{spec.title}: {blade.stem}",
            "flow": {
                "airspeed": point.airspeed,
                "altitude": point.altitude,
                "isa_offset": point.isa_offset,
                "alpha": wing.alpha,
            },
            "wing": {
                "stations": [
                    {"y": 0.0, **station},
                    {"y": 0.5 * wing.span, **station},
                ]
            },
            "propellers": propellers,
            "model": dict(model),
        }
    )


def _driven(motor: Motor | GearedTable | None, loads: RotorLoads) -> MotorState | None:
    if motor is None:
        return None
    if isinstance(motor, Motor):
        return motor_state(motor, loads.torque, loads.omega)
    try:
        return table_state(motor, loads.torque, loads.omega)
    except SolveError as error:
        raise SolveError(f"motor.table: {error}; accepted is one that reaches it") from None


def found_files(spec: Specification, folder: Path) -> Specification:
    """The specification with the wing's section and the motor's table found from anywhere.

    folder: the specification's.
    """
    if spec.motor is not None and spec.motor.table is not None:
        path = str((folder / spec.motor.table).resolve())
        spec = spec.model_copy(update={"motor": spec.motor.model_copy(update={"table": path})})
    name = spec.wing.airfoil
    if is_known(name):
        return spec
    wing = spec.wing.model_copy(update={"airfoil": str((folder / name).resolve())})
    return spec.model_copy(update={"wing": wing})
