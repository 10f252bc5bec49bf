"""Serves the one script that the plotly package carries; nothing is vendored, nothing else published."""

import re
from functools import cache
from pathlib import Path
from typing import Any

import plotly
from django.contrib.staticfiles.finders import BaseFinder
from django.core.files.storage import FileSystemStorage

NAME = "plotly.min.js"
DIRECTORY = Path(plotly.__file__).parent / "package_data"


class PlotlyFinder(BaseFinder):
    """Publishes ``plotly/plotly.min.js`` from the installed package."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self.storage = FileSystemStorage(location=str(DIRECTORY))
        self.storage.prefix = "plotly"  # type: ignore[attr-defined]

    def find(self, path: str, find_all: bool = False, **kwargs: Any) -> Any:
        hits = [self.storage.path(NAME)] if path == f"plotly/{NAME}" else []
        if find_all:
            return hits
        return hits[0] if hits else []

    def list(self, ignore_patterns: Any) -> Any:
        yield NAME, self.storage

    def check(self, **kwargs: Any) -> Any:
        return []


@cache
def injected_style_ids() -> list[str]:
    """Ids of style elements that plotly.js adds for maps; an element of that id stops it.

    The content policy forbids that style and the charts need none of it, so chart pages carry an empty
    ``<meta>`` with each id.
    """
    text = (DIRECTORY / NAME).read_text(encoding="utf-8")
    return sorted(set(re.findall(r'getElementById\("([0-9a-f]{64})"\)', text)))
