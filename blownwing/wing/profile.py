"""Profile drag of strips from skin friction: fully turbulent flat plate with a thickness factor.

An estimate for attached flow at any incidence below stall; section tables bring measured drag.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blownwing.airfoil.library import section_thickness

Array = NDArray[np.float64]

_LEAST_REYNOLDS = 1e4  # below it the turbulent plate has no meaning; the value there is kept
UNTOLD_THICKNESS = 0.12  # of a file of section data


def turbulent_friction(reynolds: ArrayLike) -> Array:
    """Mean friction coefficient of one side of a smooth turbulent plate, 0.455/(log₁₀ Re)^2.58.

    reynolds: of the plate's length, any shape, which the result has.

    Source: Schlichting 1979, Boundary-Layer Theory, 7th ed., eq. 21.16 (from memory).
    """
    log = np.log10(np.maximum(np.asarray(reynolds, dtype=float), _LEAST_REYNOLDS))
    return np.asarray(0.455 / log**2.58)


def thickness_factor(thickness: ArrayLike) -> Array:
    """Section drag over plate drag, 1 + 2 t/c + 60 (t/c)⁴.

    thickness: t/c, any shape, which the result has.

    Source: Hoerner 1965, Fluid-Dynamic Drag, chapter VI (from memory).
    """
    t = np.asarray(thickness, dtype=float)
    return np.asarray(1.0 + 2.0 * t + 60.0 * t**4)


def strip_thickness(names: Sequence[str], folder: Path, place: Array) -> Array:
    """Thickness ratio (strips,) of strips at places among the stations with sections `names`.

    place: (strips,) 0 at the first station, 1 at the next. A file of section data that does not
    tell counts as 12 % thick.

    Raises:
        InputError: a section that is unknown or cannot be read.
    """
    ratios = [section_thickness(name, folder) for name in names]
    known = [UNTOLD_THICKNESS if ratio is None else ratio for ratio in ratios]
    return np.interp(place, np.arange(len(known)), known)


def profile_drag(
    chord: Array, speed: Array, thickness: Array, density: float, viscosity: float
) -> Array:
    """Profile drag per span [N/m] of strips in their local streams.

    chord [m], speed [m/s] of the local onset flow, thickness ratio: (strips,); density [kg/m³],
    viscosity [Pa s].
    """
    reynolds = density * speed * chord / viscosity
    drag = 2.0 * turbulent_friction(reynolds) * thickness_factor(thickness)
    return np.asarray(drag * 0.5 * density * speed * speed * chord)
