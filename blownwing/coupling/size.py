"""How large a case is, how its influences are stored, and whether they fit in memory."""

from __future__ import annotations

import math
from dataclasses import dataclass

from blownwing.case.checks import problem_size
from blownwing.case.model import Case
from blownwing.errors import InputError
from blownwing.geometry.ring_basis import usual_places

# Up to so many panels of the wing, and unknowns in all, full matrices are the faster ones.
FULL_PANELS, FULL_MOST = 3000, 8000
_SHARE = 0.8  # of the free memory that matrices may take
_ALWAYS = 2**28  # bytes that nobody needs to ask for
_KIB_PER_UNKNOWN = 7.5  # of a compressed matrix at _FIRST unknowns
_KIB_PER_DOUBLING = 1.5
_FIRST = 2500.0


@dataclass(frozen=True)
class Size:
    """Unknowns of a case and the memory that their influences take."""

    panels: int  # of the wing
    tubes: int  # doublets sought on the slipstreams' edges
    compressed: bool
    bytes: int  # estimated where the matrix is compressed

    @property
    def unknowns(self) -> int:
        """Circulations and doublets."""
        return self.panels + self.tubes


def expected_size(case: Case) -> Size:
    """Size of a case at the most usual layout of its lattice, and how it would be stored."""
    half = case.is_symmetric
    panels, tubes = problem_size(case.model, half, len(case.propeller_list()))
    strips = sum((1 if half or not s.symmetric else 2) * s.strips for s in case.surfaces)
    panels += case.model.chordwise * strips
    less = _compressed_bytes(panels + tubes)
    around = case.model.jet_around
    tubes = tubes // around * usual_places(around)
    count = panels + tubes
    full = 8 * count**2
    choice = case.model.matrix
    if case.surfaces:
        choice = "full"  # compressed sheets know one surface
    if choice == "auto":
        small = panels <= FULL_PANELS and count <= FULL_MOST
        choice = "full" if small and _free(full) else "compressed"
    return Size(panels, tubes, choice == "compressed", less if choice == "compressed" else full)


def fitting_size(case: Case) -> Size:
    """Size of a case that fits in memory.

    Raises InputError for one that does not.
    """
    size = expected_size(case)
    if fits(size):
        return size
    model, free = case.model, free_memory()
    span = "half" if case.is_symmetric else "full"
    other = ""
    compressed = case.model.model_copy(update={"matrix": "compressed"})
    if not size.compressed and fits(expected_size(case.model_copy(update={"model": compressed}))):
        other = ', or model.matrix = "compressed"'
    raise InputError(
        f"model.{'spanwise' if size.panels > size.tubes else 'jet_around'}: found "
        f"{model.chordwise} x {model.spanwise} panels per half span, whose {span}-span influences "
        f"of {size.unknowns} unknowns take about {size.bytes / 2**30:.3g} GiB; accepted is what "
        f"fits in {_SHARE:.0%} of the {free / 2**30:.3g} GiB that are free: fewer panels{other}"
    )


def fits(size: Size) -> bool:
    """Whether the influences of a case fit in memory."""
    return _free(size.bytes)


def _free(size: int) -> bool:
    return size <= _ALWAYS or size <= _SHARE * free_memory()


def free_memory() -> int:
    """Bytes that the machine can give to this process now."""
    import psutil  # only large cases need to wait for it

    return int(psutil.virtual_memory().available)


def _compressed_bytes(count: int) -> int:
    """A fit to measured sizes: near blocks in proportion, far ones with the tree's depth."""
    depth = max(math.log2(max(count, 1) / _FIRST), 0.0)
    return int(1024 * count * (_KIB_PER_UNKNOWN + _KIB_PER_DOUBLING * depth))
