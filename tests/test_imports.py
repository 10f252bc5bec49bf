"""Imports run one way: shop ← instruments ← measurements → geometry; geometry stands alone."""

import ast
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
OURS = {"shop", "instruments", "measurements", "geometry"}
# Units are the common tongue: a form or a filter may use them anywhere.
MAY_USE = {
    "geometry": set(),
    "shop": {"geometry.units", "geometry.repeats", "geometry.refusals"},
    "instruments": {"shop", "geometry.units", "geometry.repeats"},
    "measurements": {"shop", "instruments", "geometry"},
}
GEOMETRY_MAY_USE = {"numpy", "scipy.special", "geometry"}


def imported(path: Path) -> set[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
    return names


def modules(app: str) -> list[Path]:
    return [path for path in (ROOT / app).rglob("*.py") if "migrations" not in path.parts]


def allowed(name: str, permitted: set[str]) -> bool:
    return any(name == item or name.startswith(item + ".") for item in permitted)


@pytest.mark.parametrize("app", sorted(OURS))
def test_imports_run_one_way(app):
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in modules(app)
        if path.name not in ("urls.py", "settings.py")
        for name in sorted(imported(path))
        if name.split(".")[0] in OURS - {app} and not allowed(name, MAY_USE[app])
    ]
    assert wrong == []


def test_geometry_needs_only_numpy_and_special_functions():
    wrong = [
        f"{path.name} imports {name}"
        for path in modules("geometry")
        for name in sorted(imported(path))
        if name.split(".")[0] not in sys.stdlib_module_names and not allowed(name, GEOMETRY_MAY_USE)
    ]
    assert wrong == []
