"""TOML text from nested dictionaries, for the few types a case is made of."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any


def value_text(value: Any) -> str:
    """TOML text of one value: text, a number, true or false, or a list of these."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # JSON's escapes are TOML's, except that TOML also wants DEL escaped.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, list | tuple):
        return "[" + ", ".join(value_text(item) for item in value) + "]"
    return repr(value)


def _is_table(value: Any) -> bool:
    return isinstance(value, Mapping)


def _is_table_list(value: Any) -> bool:
    return isinstance(value, list | tuple) and len(value) > 0 and all(map(_is_table, value))


def _table(name: str, table: Mapping[str, Any], header: str) -> list[str]:
    lines = ["", header] if header else []
    below: list[str] = []
    for key, value in table.items():
        path = f"{name}.{key}" if name else key
        if _is_table(value):
            below += _table(path, value, f"[{path}]")
        elif _is_table_list(value):
            for item in value:
                below += _table(path, item, f"[[{path}]]")
        else:
            lines.append(f"{key} = {value_text(value)}")
    return lines + below


def toml_text(tables: Mapping[str, Any]) -> str:
    """TOML text of nested mappings with plain keys.

    Args:
        tables: values are text, numbers, booleans, lists of these, mappings or lists of mappings.

    Returns:
        Text that `tomllib` reads back to equal data.
    """
    return "\n".join(_table("", tables, "")).strip() + "\n"
