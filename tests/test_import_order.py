"""Imports go one way only, and `import blownwing` stays cheap."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import blownwing

PACKAGE = Path(blownwing.__file__).parent
ORDER = (
    "errors",
    "case",
    "kernels",
    "geometry",
    "airfoil",
    "propeller",
    "slipstream",
    "wing",
    "solution",
    "coupling",
    "trim",
    "aircraft",
    "study",
    "validation",
    "report",
    "explore",
    "cli",
)
HEAVY = ("numba", "scipy", "matplotlib", "h5py", "pydantic")
MODULES = sorted(path.relative_to(PACKAGE).as_posix() for path in PACKAGE.rglob("*.py"))


def layer_of(relative):
    """The layer a module belongs to: its folder, or its own name."""
    return relative.split("/")[0].removesuffix(".py")


def imported_layers(source, inside):
    """Layers of blownwing that a module's text imports anywhere, with line numbers.

    inside: dotted name of the package that holds the module, to resolve relative imports.
    """
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parents = inside.split(".")[: len(inside.split(".")) - node.level + 1]
                base = ".".join([*parents, base] if base else parents)
            names = [f"{base}.{alias.name}" for alias in node.names]
        else:
            continue
        for name in names:
            parts = name.split(".")
            if parts[0] == "blownwing" and len(parts) > 1 and not parts[1].startswith("__"):
                found.append((parts[1], node.lineno))
    return found


def wrong_imports(relative, source):
    layer = layer_of(relative)
    inside = ".".join(["blownwing", *relative.split("/")[:-1]])
    return [
        f"{relative}:{line} imports {other}"
        for other, line in imported_layers(source, inside)
        if other != layer and (other not in ORDER or ORDER.index(other) > ORDER.index(layer))
    ]


def test_the_package_has_no_layer_without_a_place():
    layers = {layer_of(m) for m in MODULES} - {"__init__", "__main__"}
    assert layers <= set(ORDER)
    assert {"case", "kernels", "wing", "coupling"} <= layers


@pytest.mark.parametrize("relative", [m for m in MODULES if "/" in m or m != "__init__.py"])
def test_imports_go_up_the_list_only(relative):
    if layer_of(relative) == "__main__":
        return
    assert wrong_imports(relative, (PACKAGE / relative).read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    "source",
    [
        "from blownwing.wing import loads",
        "import blownwing.cli",
        "from .. import coupling",
        "from ..report.style import x",
        "def f():\n    from blownwing.solution.model import Solution",
        "if TYPE_CHECKING:\n    from blownwing.wing.system import WingSystem",
    ],
)
def test_a_downward_import_is_found(source):
    assert wrong_imports("geometry/lattice.py", source)
    assert not wrong_imports("cli.py", source.replace("..", "blownwing"))


def test_importing_the_package_loads_nothing_heavy():
    code = f"import sys, blownwing; print([m for m in {HEAVY!r} if m in sys.modules])"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"
    # Control: the list would show one.
    code = (
        f"import sys, blownwing; blownwing.Case; print([m for m in {HEAVY!r} if m in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "pydantic" in ran.stdout
    assert "matplotlib" not in ran.stdout and "numba" not in ran.stdout
