"""Putting a backup back: everything is checked before anything is touched.

Order: the archive's sums; whether it fits this release and this database; whether what is there now may
go; a backup of that; photos, which only ever get added to; the database, as a whole or not at all.
"""

import hashlib
import shutil
import tempfile
import zipfile
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings
from django.contrib.sessions.models import Session
from django.core.files.base import File
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import DatabaseError, connection
from django.db.migrations.loader import MigrationLoader

from shop import dumps
from shop.backups import (
    CHUNK_BYTES,
    FILES,
    Manifest,
    Part,
    check_archive,
    make_backup,
    unpack,
)
from shop.dumps import BackupError


@dataclass(frozen=True)
class Restored:
    """What was put back, where what was there before is kept, and which migrations were added."""

    manifest: Manifest
    before: Path | None
    files_added: int
    migrated: list[str]


def check(path: Path) -> Manifest:
    """Open a backup and compare everything in it, touching nothing. Raises ``BackupError``."""
    try:
        with tempfile.TemporaryDirectory() as working:
            return check_archive(path, Path(working))
    except OSError as error:
        raise BackupError(f"The backup could not be read: {error.strerror or error}.") from error


def restore(path: Path, *, replace: bool = False) -> Restored:
    """Put a backup in the place of an empty database, or with ``replace`` of one that holds anything.

    Raises ``BackupError``; then the database is as it was.
    """
    folder = Path(settings.BACKUP_DIR)
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        with tempfile.TemporaryDirectory(prefix=".saddleroom-", dir=folder) as working:
            manifest = check_archive(path, Path(working))
            _check_fits(manifest)
            _check_room(manifest, folder)
            before = _make_way(replace)
            added = _put_files_back(path, manifest, replace)
            dumps.put_back(Path(working) / manifest.database)
    except OSError as error:
        raise BackupError(
            f"The backup could not be restored: {error.strerror or error}."
        ) from error
    _compare(manifest)
    applied = set(manifest.migrations)
    call_command("migrate", verbosity=0, interactive=False)
    Session.objects.all().delete()  # who was signed in then need not be allowed in now
    migrated = [name for name in dumps.facts_now().migrations if name not in applied]
    return Restored(manifest, before, added, migrated)


def _check_fits(manifest: Manifest) -> None:
    if manifest.vendor != dumps.vendor():
        raise BackupError(
            f"This is a backup of a {manifest.vendor} database, and DATABASE_URL names one of "
            f"{dumps.vendor()}. Restore it into its own kind, then take everything out by “Old records”."
        )
    known = {f"{app}.{name}" for app, name in MigrationLoader(None).disk_migrations}
    newer = [name for name in manifest.migrations if name not in known]
    if newer:
        raise BackupError(
            f"The backup was made by a newer release, with {newer[0]}. Install that release first."
        )


def _check_room(manifest: Manifest, folder: Path) -> None:
    """Twice what is in it: the copy of what is there now, and what is put back."""
    wanted = 2 * sum(part.size for part in manifest.parts)
    free = shutil.disk_usage(folder).free
    if free < wanted:
        raise BackupError(
            f"The disk has {free // 1_000_000} MB free; restoring takes {wanted // 1_000_000} MB."
        )


def _make_way(replace: bool) -> Path | None:
    """Refuse where something would be lost; with ``replace`` keep a backup of it. Returns where."""
    try:
        held = dumps.holdings()
    except DatabaseError as error:
        return _unreadable(replace, error)
    if not held:
        return None
    if not replace:
        some = ", ".join(f"{count} in {table}" for table, count in list(held.items())[:3])
        raise BackupError(
            f"The database holds entries already ({some}). Nothing was changed. "
            "--replace puts the backup in their place, after backing them up."
        )
    return make_backup(Path(settings.BACKUP_DIR) / "replaced").path


def _unreadable(replace: bool, error: Exception) -> Path:
    if connection.vendor != "sqlite":
        raise BackupError(f"The database does not answer: {error}") from error
    if not replace:
        raise BackupError(
            f"The database that is there cannot be read ({error}). Nothing was changed. "
            "--replace sets its file aside and puts the backup in its place."
        ) from error
    return dumps.set_aside(f"{datetime.now(UTC):%Y%m%dT%H%M%SZ}")


def _put_files_back(path: Path, manifest: Manifest, replace: bool) -> int:
    """Store the photos that are not there; one that is there and differs only goes with ``replace``."""
    added = 0
    with zipfile.ZipFile(path) as archive, tempfile.TemporaryDirectory() as working:
        differing = [part.name for part in manifest.stored if _differs(part)]
        if differing and not replace:
            raise BackupError(
                f"{len(differing)} stored files differ from those of the backup, the first "
                f"{differing[0]}. Nothing was changed. --replace takes the backup's."
            )
        for part in manifest.stored:
            name = part.name.removeprefix(FILES)
            if default_storage.exists(name):
                if part.name not in differing:
                    continue
                default_storage.delete(name)
            unpacked = Path(working) / "part"
            unpack(archive, part, unpacked)
            with unpacked.open("rb") as file:
                if default_storage.save(name, File(file)) != name:
                    raise BackupError(f"{name} could not be stored under its own name.")
            unpacked.unlink()
            added += 1
    return added


def _differs(part: Part) -> bool:
    name = part.name.removeprefix(FILES)
    if not default_storage.exists(name):
        return False
    digest = hashlib.sha256()
    with default_storage.open(name) as file:
        while chunk := file.read(CHUNK_BYTES):
            digest.update(chunk)
    return digest.hexdigest() != part.sha256


def _compare(manifest: Manifest) -> None:
    """The database must now hold what was counted when the backup was made."""
    counts = dumps.facts_now().counts
    off = [table for table, count in manifest.counts.items() if counts.get(table) != count]
    if off:
        raise BackupError(
            f"The database was restored, but {off[0]} has {counts.get(off[0])} rows and not "
            f"{manifest.counts[off[0]]}. Somebody may be using it: stop the server and restore again."
        )
