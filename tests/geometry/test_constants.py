import ast
import re
from pathlib import Path

import geometry.constants

CONSTANTS = Path(geometry.constants.__file__)
REFERENCES = CONSTANTS.with_name("REFERENCES.md")


def keyed_constants() -> dict[str, str | None]:
    """Each constant's name with the source key on its line."""
    text = CONSTANTS.read_text(encoding="utf-8")
    lines = text.splitlines()
    keyed = {}
    for node in ast.parse(text).body:
        if isinstance(node, ast.Assign):
            assert isinstance(node.targets[0], ast.Name)
            match = re.search(r"# \[([a-z0-9-]+)\]$", lines[node.end_lineno - 1])
            keyed[node.targets[0].id] = match and match[1]
    return keyed


def reference_keys() -> list[str]:
    return re.findall(r"^## (\S+)$", REFERENCES.read_text(encoding="utf-8"), re.MULTILINE)


def test_every_constant_names_its_source():
    keyed = keyed_constants()
    assert len(keyed) > 40
    assert [name for name, key in keyed.items() if key is None] == []
    assert set(keyed) == {name for name in vars(geometry.constants) if name.isupper()}


def test_the_keys_and_the_references_match_both_ways():
    assert sorted(set(keyed_constants().values())) == sorted(reference_keys())
