"""The table of requirements is whole, and every test that it names is there."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
SECURITY = (ROOT / "SECURITY.md").read_text(encoding="utf-8")

# OWASP Application Security Verification Standard 5.0.0, the published list: by section, the requirements
# of level 1 and those of level 2. Level 3 is not claimed.
LEVELS = {
    "1.1": ("", "1 2"), "1.2": ("1 2 3 4 5", "6 7 8 9"),
    "1.3": ("1 2", "3 4 5 6 7 8 9 10 11"), "1.4": ("", "1 2 3"), "1.5": ("1", "2"),
    "2.1": ("1", "2 3"), "2.2": ("1 2", "3"), "2.3": ("1", "2 3 4"), "2.4": ("", "1"),
    "3.2": ("1 2", ""), "3.3": ("1", "2 3 4"), "3.4": ("1 2", "3 4 5 6"),
    "3.5": ("1 2 3", "4 5"), "3.7": ("", "1 2"),
    "4.1": ("1", "2 3"), "4.2": ("", "1"), "4.3": ("", "1 2"), "4.4": ("1", "2 3 4"),
    "5.1": ("", "1"), "5.2": ("1 2", "3"), "5.3": ("1 2", ""), "5.4": ("", "1 2 3"),
    "6.1": ("1", "2 3"), "6.2": ("1 2 3 4 5 6 7 8", "9 10 11 12"), "6.3": ("1 2", "3 4"),
    "6.4": ("1 2", "3 4"), "6.5": ("", "1 2 3 4 5"), "6.6": ("", "1 2 3"), "6.8": ("", "1 2 3 4"),
    "7.1": ("", "1 2 3"), "7.2": ("1 2 3 4", ""), "7.3": ("", "1 2"), "7.4": ("1 2", "3 4 5"),
    "7.5": ("", "1 2"), "7.6": ("", "1 2"),
    "8.1": ("1", "2"), "8.2": ("1 2", "3"), "8.3": ("1", ""), "8.4": ("", "1"),
    "9.1": ("1 2 3", ""), "9.2": ("1", "2 3 4"),
    "10.1": ("", "1 2"), "10.2": ("", "1 2"), "10.3": ("", "1 2 3 4"),
    "10.4": ("1 2 3 4 5", "6 7 8 9 10 11"), "10.5": ("", "1 2 3 4 5"), "10.6": ("", "1 2"),
    "10.7": ("", "1 2 3"),
    "11.1": ("", "1 2"), "11.2": ("", "1 2 3"), "11.3": ("1 2", "3"), "11.4": ("1", "2 3 4"),
    "11.5": ("", "1"), "11.6": ("", "1"),
    "12.1": ("1", "2 3"), "12.2": ("1 2", ""), "12.3": ("", "1 2 3 4"),
    "13.1": ("", "1"), "13.2": ("", "1 2 3 4 5"), "13.3": ("", "1 2"), "13.4": ("1", "2 3 4 5"),
    "14.1": ("", "1 2"), "14.2": ("1", "2 3 4"), "14.3": ("1", "2 3"),
    "15.1": ("1", "2 3"), "15.2": ("1", "2 3"), "15.3": ("1", "2 3 4 5 6 7"),
    "16.1": ("", "1"), "16.2": ("", "1 2 3 4 5"), "16.3": ("", "1 2 3 4"), "16.4": ("", "1 2 3"),
    "16.5": ("", "1 2 3"),
    "17.1": ("", "1"), "17.2": ("", "1 2 3 4"), "17.3": ("", "1 2"),
}  # fmt: skip
LEVEL_OF = {
    f"{section}.{number}": level
    for section, levels in LEVELS.items()
    for level, numbers in enumerate(levels, start=1)
    for number in numbers.split()
}


def rows() -> list[list[str]]:
    """Cells of the rows that begin with the number of a requirement."""
    found = re.findall(r"^\| (\d+\.\d+\.\d+.*) \|$", SECURITY, re.MULTILINE)
    return [[cell.strip() for cell in row.split(" | ")] for row in found]


def test_every_requirement_of_levels_1_and_2_stands_in_the_table_once():
    assert sum(level == 1 for level in LEVEL_OF.values()) == 70
    named = [number for row in rows() for number in row[0].split(", ")]
    assert sorted(named) == sorted(LEVEL_OF)


def test_each_line_has_its_level():
    wrong = [row[0] for row in rows() if len(row) > 2 and int(row[1]) != LEVEL_OF[row[0]]]
    assert wrong == []


def test_every_test_that_the_table_names_is_there():
    defined = {
        node.name
        for path in (ROOT / "tests").rglob("test_*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef | ast.ClassDef)
    }
    met = [row for row in rows() if len(row) == 5]
    named = {name for row in met for name in re.findall(r"`(\w+)`", row[4])}
    assert len(named) > 80
    assert sorted(named - defined) == []
    assert [row[0] for row in met if "`" not in row[4]] == []


def test_security_says_how_soon_packages_are_renewed():
    assert re.search(r"closed within a week", SECURITY)
    assert re.search(r"at least every quarter", SECURITY)


@pytest.mark.parametrize("name", ["requirements.txt", "requirements-dev.txt"])
def test_every_package_is_locked_by_its_hash(name):
    text = (ROOT / name).read_text(encoding="utf-8")
    packages = re.split(r"^(?=[a-zA-Z0-9])", text, flags=re.MULTILINE)[1:]
    assert len(packages) > 20
    assert [line for line in packages if "==" not in line or "--hash=sha256:" not in line] == []
