"""Reads the outside check values in tests/reference."""

import csv
from pathlib import Path

REFERENCE = Path(__file__).parents[1] / "reference"


def rows(name: str) -> list[dict[str, str]]:
    """Rows of a reference file, its leading comment lines left out."""
    lines = (REFERENCE / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))
