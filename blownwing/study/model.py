"""What a study file says: a case, what is changed in it, and what is asked of the changed cases."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

from pydantic import (
    AliasChoices,
    Field,
    PrivateAttr,
    StrictBool,
    StrictFloat,
    StrictInt,
    StrictStr,
    model_validator,
)

from blownwing.case.fields import Angle, FileName, Force, Moment, Number, Table, Whole
from blownwing.case.messages import Fault
from blownwing.case.model import Case

# strict, so that true stays true and is refused where the case wants a number
Value = StrictBool | StrictInt | StrictFloat | StrictStr | list[StrictInt | StrictFloat]
SPINS = "spins"  # the key that stands for the spins of all propellers at once
EVERY = "every"
AIRCRAFT = "aircraft"  # results of whole aircraft
AIRCRAFT_RANKING = ("take_off_distance", "least")
MOST_CASES = 1_000_000
UNCERTAIN = ("uncertainty", "expansion")  # methods whose inputs have distributions


class Parameter(Table):
    """One thing that changes between the cases of a study."""

    key: StrictStr = Field(description='dotted key of the case, or "spins"')
    values: Literal["every"] | list[Value] | None = Field(
        default=None, description='for a grid or a list; "every" for all spin patterns'
    )
    low: Number | None = Field(
        default=None,
        validation_alias=AliasChoices("from", "low"),
        serialization_alias="from",
        description="lowest value of a range",
    )
    high: Number | None = Field(
        default=None,
        validation_alias=AliasChoices("to", "high"),
        serialization_alias="to",
        description="highest value of a range",
    )
    count: Whole | None = Field(default=None, ge=2, description="equal steps of a range in a grid")
    mean: Number | None = Field(default=None, description="of a normally distributed input")
    deviation: Number | None = Field(default=None, gt=0.0, description="its standard deviation")
    factor: StrictBool = Field(
        default=False, description="values are factors on the numbers that the case has there"
    )

    @model_validator(mode="after")
    def _consistent(self) -> Parameter:
        if (self.low is None) != (self.high is None):
            key = "to" if self.high is None else "from"
            raise Fault((key,), "this key is missing; a range has from and to")
        if self.low is not None and self.high is not None and not self.low < self.high:
            raise Fault(("to",), f"found {self.high:g}; accepted is a value above from")
        if (self.mean is None) != (self.deviation is None):
            key = "mean" if self.mean is None else "deviation"
            raise Fault((key,), "this key is missing; a normal input has mean and deviation")
        given = [self.values is not None, self.low is not None, self.mean is not None]
        if sum(given) != 1:
            raise Fault(
                (), "accepted is exactly one of values, a range (from, to), or mean and deviation"
            )
        if self.count is not None and self.low is None:
            raise Fault(("count",), "accepted only beside from and to")
        if self.values == EVERY and self.key != SPINS:
            raise Fault(("values",), f'found "every"; accepted only with key = "{SPINS}"')
        if isinstance(self.values, list) and not self.values:
            raise Fault(("values",), "found an empty list; accepted is at least one value")
        if self.key == SPINS and self.values is None:
            raise Fault(("values",), 'this key is missing; spins take "every" or patterns')
        if self.key == SPINS and self.factor:
            raise Fault(("factor",), "found true; accepted for spins is false")
        return self


class Sweep(Table):
    """Which cases are run."""

    method: Literal["grid", "list", "latin_hypercube", "sobol", "uncertainty", "expansion"] = Field(
        default="grid",
        description="how cases are made from the parameters; of uncertain ones, uncertainty "
        "samples indices, expansion fits polynomials and needs far fewer cases",
    )
    results: Literal["wing", "aircraft"] = Field(
        default="wing",
        description="aircraft: take-off, CLmax, range and the like of [aircraft], tens of seconds "
        "a case",
    )
    lift: Force | None = Field(
        default=None, gt=0.0, description="held by incidence in every case; absent: incidence stays"
    )
    parameters: tuple[Parameter, ...] = Field(min_length=1)
    samples: Whole | None = Field(default=None, ge=2, description="cases of a sampling method")
    seed: Whole = Field(default=1, ge=0, description="of a sampling method")
    lattice: Literal["fixed", "following"] = Field(
        default="fixed",
        description="fixed: one lattice for all cases where the wing stays and slipstreams have no "
        "edge; following: strips end at the slipstream edges of every case",
    )
    rank_by: StrictStr = Field(default="CL", description="quantity that orders the cases")
    best: Literal["largest", "least"] = Field(
        default="largest", description="which end of rank_by comes first"
    )

    @model_validator(mode="after")
    def _consistent(self) -> Sweep:
        sampled = self.method not in ("grid", "list")
        if sampled and self.samples is None:
            raise Fault(("samples",), f'this key is missing, needed with method = "{self.method}"')
        if not sampled and self.samples is not None:
            raise Fault(
                ("samples",), f'found {self.samples}; not accepted with method = "{self.method}"'
            )
        if self.samples is not None and self.method in ("sobol", *UNCERTAIN):
            if self.samples & (self.samples - 1):
                near = 2 ** max(round(self.samples.bit_length() - 0.5), 1)
                raise Fault(
                    ("samples",),
                    f"found {self.samples}; accepted is a power of two such as {near}, for which "
                    "Sobol points are balanced",
                )
        fewest = 2 * (len(self.parameters) + 1)
        if self.method == "expansion" and (self.samples or 0) < fewest:
            raise Fault(
                ("samples",),
                f"found {self.samples}; accepted is at least {fewest}, two for each coefficient of "
                "a linear expansion",
            )
        if self.lift is not None and self.results == AIRCRAFT:
            raise Fault(("lift",), 'found beside results = "aircraft", whose weight decides it')
        for index, item in enumerate(self.parameters):
            self._check_parameter(index, item)
        keys = [item.key for item in self.parameters]
        for index, key in enumerate(keys):
            if key in keys[:index]:
                raise Fault(
                    ("parameters", index, "key"), f'found "{key}" twice; accepted are unique keys'
                )
        return self

    def _check_parameter(self, index: int, item: Parameter) -> None:
        path = ("parameters", index)
        if item.mean is not None and self.method not in UNCERTAIN:
            raise Fault((*path, "mean"), 'accepted only with method = "uncertainty" or "expansion"')
        if item.key == "flow.alpha" and self.lift is not None:
            raise Fault((*path, "key"), 'found "flow.alpha", by which sweep.lift is held')
        if self.method == "grid" and item.low is not None and item.count is None:
            raise Fault((*path, "count"), "this key is missing, needed for a range in a grid")
        if self.method != "grid" and item.count is not None:
            raise Fault((*path, "count"), 'accepted only with method = "grid"')
        if self.method == "list" and not isinstance(item.values, list):
            raise Fault((*path, "values"), 'this key is missing, needed with method = "list"')
        if self.method == "list" and isinstance(item.values, list):
            first = self.parameters[0].values
            if isinstance(first, list) and len(item.values) != len(first):
                raise Fault(
                    (*path, "values"),
                    f"found {len(item.values)} values; accepted are {len(first)}, as many as the "
                    "first parameter has",
                )
        if self.method in UNCERTAIN and item.values is not None:
            raise Fault(
                (*path, "values"), "accepted are a range (uniform), or mean and deviation (normal)"
            )


class ShapeSearch(Table):
    """Search of the chord and twist with least drag or power at given lift, behind propellers."""

    objective: Literal["induced_drag", "drag", "power"] = Field(
        default="drag",
        description="drag counts the skin-friction estimate too; power is that of the shafts, "
        "thrusts scaled together until they carry the drag",
    )
    twist: StrictBool = Field(default=True, description="twist is varied")
    chord: StrictBool = Field(default=False, description="chord is varied")
    controls: Whole = Field(default=7, ge=4, le=30, description="spline coefficients of each")
    twist_range: tuple[Angle, Angle] = Field(default=(-10.0, 10.0), description="change of twist")
    chord_range: tuple[Number, Number] = Field(default=(0.5, 1.6), description="chord / chord now")
    lift: Force | None = Field(default=None, gt=0.0, description="held; absent: the case's own")
    fixed_area: StrictBool = Field(default=True, description="the planform's area stays")
    bending_limit: Moment | None = Field(
        default=None, gt=0.0, description="root bending moment of one half"
    )
    starts: Whole = Field(default=3, ge=1, le=50, description="searches from different shapes")
    seed: Whole = Field(default=1, ge=0, description="of the starts")

    @model_validator(mode="after")
    def _consistent(self) -> ShapeSearch:
        if not (self.twist or self.chord):
            raise Fault(
                ("twist",), "found false beside chord = false; accepted is one of them true"
            )
        for key in ("twist_range", "chord_range"):
            low, high = getattr(self, key)
            if not low < high:
                raise Fault((key,), f"found [{low:g}, {high:g}]; accepted are ascending values")
        if not self.twist_range[0] < 0.0 < self.twist_range[1]:
            raise Fault(("twist_range",), "accepted is a range around 0, the twist as it is")
        if not 0.0 < self.chord_range[0] < 1.0 < self.chord_range[1]:
            raise Fault(
                ("chord_range",), "accepted is a range above 0 around 1, the chord as it is"
            )
        return self


class PlacementSearch(Table):
    """Search of propellers' places, sizes and settings for the best of one quantity."""

    objective: StrictStr = Field(default="power", description="a quantity of a sweep's table")
    best: Literal["largest", "least"] = Field(
        default="least", description="which end of the objective is sought"
    )
    parameters: tuple[Parameter, ...] = Field(min_length=1, description="keys with from and to")
    lift: Force | None = Field(
        default=None, gt=0.0, description="held by incidence; absent: incidence stays"
    )
    drag_trim: StrictBool = Field(
        default=False, description="thrusts scaled together until net axial force is 0"
    )
    spins: Literal["given", "every"] = Field(
        default="given", description="every: all spin patterns are tried too, mirror images once"
    )
    starts: Whole = Field(default=3, ge=1, le=50, description="searches from different places")
    seed: Whole = Field(default=1, ge=0, description="of the starts")

    @model_validator(mode="after")
    def _consistent(self) -> PlacementSearch:
        for index, item in enumerate(self.parameters):
            if item.low is None or item.count is not None:
                raise Fault(("parameters", index), "accepted in a search are from and to alone")
        return self


class Study(Table):
    """A study file."""

    title: StrictStr = Field(default="", description="of results and figures")
    case: FileName = Field(description="the case file, relative to the study's folder")
    edits: dict[str, Any] = Field(
        default_factory=dict, description="dotted key of the case -> value, for all cases"
    )
    sweep: Sweep | None = None
    optimize: ShapeSearch | None = None
    placement: PlacementSearch | None = None

    _base: Case | None = PrivateAttr(default=None)
    _text: str = PrivateAttr(default="")
    _folder: Path = PrivateAttr(default_factory=Path)

    def with_source(self, base: Case, text: str, folder: Path) -> Study:
        """The same study with its case read, its own text, and the folder it lies in."""
        study = self.model_copy()
        study._base, study._text, study._folder = base, text, folder
        return study

    @property
    def base(self) -> Case:
        """The case, edits done."""
        if self._base is None:
            raise ValueError("the study was not read with its case; use read_study")
        return self._base

    @property
    def case_file(self) -> Path:
        """The case file."""
        return self._folder / self.case

    @property
    def ranking(self) -> tuple[str, str]:
        """The quantity that orders the cases, and whether its largest or least value is best."""
        if self.sweep is None:
            return "CL", "largest"
        if self.sweep.results == AIRCRAFT and "rank_by" not in self.sweep.model_fields_set:
            return AIRCRAFT_RANKING
        return self.sweep.rank_by, self.sweep.best

    @property
    def how(self) -> tuple[str, float | None]:
        """How cases are run: "fixed" or "following" lattice or "aircraft", and the lift held, N."""
        if self.sweep is None:
            return "following", None
        lattice = AIRCRAFT if self.sweep.results == AIRCRAFT else self.sweep.lattice
        return lattice, self.sweep.lift

    @property
    def text(self) -> str:
        """The study file's text."""
        return self._text

    @property
    def folder(self) -> Path:
        """Where relative file names start."""
        return self._folder


def flat_edits(edits: Mapping[str, Any], lead: str = "") -> dict[str, Any]:
    """Edits with nested tables written as dotted keys."""
    result: dict[str, Any] = {}
    for key, value in edits.items():
        path = f"{lead}{key}"
        if isinstance(value, Mapping):
            result |= flat_edits(value, f"{path}.")
        else:
            result[path] = value
    return result
