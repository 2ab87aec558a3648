"""Comparisons with published values: entries in folders, run and judged row by row."""

from __future__ import annotations

from blownwing.validation.entries import Outcome, entry_folders, run_entries
from blownwing.validation.rows import Row, published_rows

__all__ = ["Outcome", "Row", "entry_folders", "published_rows", "run_entries"]
