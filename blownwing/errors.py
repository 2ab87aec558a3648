"""The two ways a calculation ends badly, each told to the user in one clear sentence."""

from __future__ import annotations


class InputError(ValueError):
    """The input is wrong: says where, what was found and what is accepted (exit code 2)."""


class SolveError(RuntimeError):
    """The calculation failed: says why (exit code 1)."""
