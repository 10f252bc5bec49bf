"""Uploaded files between the steps of an import: kept on the server, for a day, for who sent them.

Each lies in a directory of its own with a random name, readable by the server's account only. What a
browser sends back is that name alone; it opens nothing for another person.
"""

import json
import shutil
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

from django.conf import settings

from measurements.old_records.findings import Report, RowReport

KEPT_SECONDS = 24 * 3600
ROWS_A_PAGE = 100


@dataclass
class Kept:
    """An uploaded file, what was chosen for it so far, and whose it is."""

    token: UUID
    file_name: str
    user: int
    chosen: dict[str, Any] = field(default_factory=dict)
    is_shop: bool = False

    @property
    def folder(self) -> Path:
        return Path(settings.IMPORT_DIR) / self.token.hex

    def data(self) -> bytes:
        return (self.folder / "file").read_bytes()

    def save(self) -> None:
        about = {**asdict(self), "token": self.token.hex}
        _write(self.folder / "about.json", json.dumps(about).encode())

    def forget(self) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)

    def keep_preview(self, report: Report, labels: dict[str, str]) -> None:
        """Store what an import would do: the totals, and the rows page by page."""
        pages = [
            report.rows[start : start + ROWS_A_PAGE]
            for start in range(0, len(report.rows), ROWS_A_PAGE)
        ]
        for number, rows in enumerate(pages, start=1):
            told = json.dumps([asdict(row) for row in rows]).encode()
            _write(self.folder / f"page-{number}.json", told)
        _write(self.folder / "totals.json", json.dumps(_totals(report, labels)).encode())

    def totals(self) -> dict[str, Any] | None:
        """The preview's totals, or None where there is no preview yet."""
        try:
            kept: dict[str, Any] = json.loads((self.folder / "totals.json").read_bytes())
        except FileNotFoundError:
            return None
        return kept

    def rows(self, page: int) -> list[RowReport]:
        try:
            told = json.loads((self.folder / f"page-{page}.json").read_bytes())
        except FileNotFoundError:
            return []
        return [RowReport(**row) for row in told]


def _totals(report: Report, labels: dict[str, str]) -> dict[str, Any]:
    return {
        "read": report.read,
        "added": report.added,
        "already": report.already,
        "bad": sum(bool(row.problems) for row in report.rows),
        "odd": sum(bool(row.warnings) for row in report.rows),
        "work_added": report.work_added,
        "customers_added": report.customers_added,
        "instruments_added": report.instruments_added,
        "instruments_updated": report.instruments_updated,
        "adds_anything": report.adds_anything,
        "notes": report.notes[:50],
        "more_notes": max(0, len(report.notes) - 50),
        "labels": labels,
    }


def keep(data: bytes, file_name: str, user: int) -> Kept:
    """Keep an uploaded file; older ones of anybody, past their day, go."""
    sweep()
    kept = Kept(uuid4(), file_name, user)
    kept.folder.mkdir(mode=0o700, parents=True)
    _write(kept.folder / "file", data)
    kept.save()
    return kept


def kept_file(token: UUID, user: int, tokens: Sequence[str]) -> Kept | None:
    """The file of this name, if it is this person's, of this session, and still kept."""
    folder = Path(settings.IMPORT_DIR) / token.hex
    if token.hex not in tokens:
        return None
    try:
        about = json.loads((folder / "about.json").read_bytes())
    except FileNotFoundError:
        return None
    if about["user"] != user or not (folder / "file").exists():
        return None
    return Kept(**{**about, "token": token})


def sweep() -> None:
    """Delete what was kept for more than a day."""
    folder = Path(settings.IMPORT_DIR)
    if not folder.exists():
        return
    for old in folder.iterdir():
        try:
            if time.time() - old.stat().st_mtime > KEPT_SECONDS:
                shutil.rmtree(old, ignore_errors=True)
        except FileNotFoundError:  # another process was quicker
            continue


def _write(path: Path, data: bytes) -> None:
    path.touch(mode=0o600)
    path.write_bytes(data)
