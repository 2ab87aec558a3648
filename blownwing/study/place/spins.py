"""Spin patterns of a case's propellers: all of them, each once where mirror images agree."""

from __future__ import annotations

import itertools
from typing import Any

from blownwing.case.model import Case
from blownwing.case.parts import Propeller
from blownwing.errors import InputError

_MOST = 16  # propellers whose patterns are listed
_SIDES = ("inboard_up", "outboard_up")
_TURNS = ("clockwise", "counterclockwise")


def turning(case: Case) -> list[int]:
    """Indices of the propellers that have blades, known or not."""
    return [i for i, item in enumerate(case.propellers) if item.kind != "disc"]


def spin_patterns(case: Case) -> list[str]:
    """Every spin pattern as words in the order of the propellers, mirror images left out.

    Raises:
        InputError: no propeller with blades, or more than 16 of them.
    """
    turn = turning(case)
    if not 0 < len(turn) <= _MOST:
        raise InputError(
            f"spins: found {len(turn)} propellers with blades; accepted are 1 to {_MOST}"
        )
    partners = _partners(case, turn)
    choices = [_TURNS if case.propellers[i].position[1] == 0.0 else _SIDES for i in turn]
    kept: list[str] = []
    seen: set[tuple[str, ...]] = set()
    for pattern in itertools.product(*choices):
        if pattern in seen:
            continue
        kept.append(" ".join(pattern))
        if partners is not None:
            image = tuple(
                _TURNS[1 - _TURNS.index(pattern[k])] if choices[k] is _TURNS else pattern[j]
                for k, j in enumerate(partners)
            )
            seen.add(image)
    return kept


def pattern_edits(case: Case, pattern: object) -> dict[str, Any]:
    """Edits that give the propellers the spins of a pattern; one word stands for all of them.

    Raises:
        InputError: not one word or as many words as there are propellers with blades.
    """
    turn = turning(case)
    words = pattern.split() if isinstance(pattern, str) else []
    if len(words) == 1:
        words *= len(turn)
    if len(words) != len(turn) or not words:
        raise InputError(
            f'spins: found "{pattern}"; accepted are {len(turn)} words such as '
            f'"{" ".join(_SIDES[:1] * len(turn))}", or one word for all propellers'
        )
    return {f"propellers.{i}.spin": word for i, word in zip(turn, words, strict=True)}


def _partners(case: Case, turn: list[int]) -> list[int] | None:
    """For each turning propeller its mirror image among them, None where flow or layout has none.

    A propeller with `mirror` is its own partner: its twin follows it.
    """
    flow = case.flow
    if not case.wing.symmetric or flow.beta or flow.roll_rate or flow.yaw_rate:
        return None
    items = [case.propellers[i] for i in turn]
    result = []
    for item in items:
        if item.mirror:
            if item.twin_spin is not None:
                return None
            result.append(items.index(item))
            continue
        match = [k for k, other in enumerate(items) if _mirrored(item, other)]
        if not match:
            return None
        result.append(match[0])
    return result


_PLACE = {"name", "position", "spin", "toe"}


def _mirrored(one: Propeller, other: Propeller) -> bool:
    (x, y, z), (u, v, w) = one.position, other.position
    same = one.model_dump(exclude=_PLACE) == other.model_dump(exclude=_PLACE)
    return same and (x, y, z) == (u, -v, w) and one.toe == -other.toe
