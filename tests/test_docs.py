"""The documents are checked against the code they describe."""

import re
from datetime import date
from pathlib import Path

import pytest
from django.core.management import get_commands

from measurements.old_records.columns import known_columns

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_setting_from_the_environment_is_documented():
    source = (ROOT / "shop" / "settings.py").read_text(encoding="utf-8")
    used = set(re.findall(r'env\.\w+\(\s*"([A-Z_]+)"', source))
    documented = set(re.findall(r"^\| `([A-Z_]+)` \|", DEVELOPERS, re.MULTILINE))
    assert used == documented


def test_every_file_that_the_documents_name_is_there():
    named = set(
        re.findall(
            r"`((?:shop|instruments|measurements|geometry|tests|fixtures)/[\w/.]+)`", DEVELOPERS
        )
    )
    missing = [name for name in sorted(named) if not (ROOT / name).exists()]
    assert missing == []


def test_every_file_named_without_its_folder_is_somewhere():
    named = set(re.findall(r"`([\w/-]+\.(?:py|js|css|html))`", README + DEVELOPERS))
    folders = (
        "shop",
        "instruments",
        "measurements",
        "geometry",
        "templates",
        "tests",
        "bench",
        "fixtures",
    )
    paths = [f"/{path}" for folder in folders for path in (ROOT / folder).rglob("*.*")]
    missing = [name for name in sorted(named) if not any(p.endswith(f"/{name}") for p in paths)]
    assert missing == [], "renamed or gone"


def test_every_command_of_ours_is_in_the_readme():
    ours = {name for name, app in get_commands().items() if app in ("shop", "measurements")}
    # make demo and make words run these.
    missing = [
        name
        for name in sorted(ours - {"serve", "load_demo", "makemessages"})
        if f"manage.py {name}" not in README
    ]
    assert missing == []


@pytest.mark.parametrize(
    "target",
    [
        "demo",
        "test",
        "lint",
        "types",
        "format",
        "lock",
        "bench-forecast",
        "bench-fleet",
        "bench-live",
        "bench-web",
        "mutants",
    ],
)
def test_every_make_target_that_the_guide_names_exists(target):
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    assert f"make {target}" in README + DEVELOPERS
    assert re.search(rf"^{target}:", makefile, re.MULTILINE)


def test_the_readme_lists_the_columns_that_the_import_knows():
    section = README.split("## An old log as input")[1].split("## In earnest")[0]
    named = set(
        re.findall(r"\b[a-z]+(?:_[a-z0-9]+)*\b", " ".join(re.findall(r"`([^`]+)`", section)))
    )
    known = {name for name in known_columns(date(2026, 1, 1)) if not name.endswith("_in")}
    missing = sorted(known - named)
    assert missing == []


def test_the_readme_opens_with_the_job():
    opening = README.split("\n\n")[1]
    assert "bridge creeps upward" in opening
    assert "book a reset" in opening
