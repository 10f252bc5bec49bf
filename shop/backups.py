"""One file with everything the shop has entered: the database at one moment, the photos, a manifest.

The file is a ZIP archive. It is written under another name, opened and checked, and only then named; so
whatever bears a backup's name is one. Photos are copied after the database: each lies under a name of
its own and never changes, so every one that the copy of the database names is there.
"""

import hashlib
import json
import os
import platform
import re
import sqlite3
import tempfile
import tomllib
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import IO, Any

import django
from django.conf import settings
from django.core.files.storage import default_storage
from django.db import DatabaseError

from shop import dumps
from shop.dumps import BackupError

FORMAT = 1
MANIFEST = "manifest.json"
FILES = "files/"
NAME = re.compile(r"saddleroom-\d{8}T\d{6}Z(_\d)?\.zip")
LAST = "last-backup.json"
#: A daily backup that is two hours late was missed.
LATE = timedelta(hours=26)
ABANDONED = timedelta(days=1)
CHUNK_BYTES = 1 << 20
MANIFEST_MOST_BYTES = 200_000_000  # a million photos


@dataclass(frozen=True)
class Part:
    """One file in the archive: name, size and SHA-256 in hexadecimal."""

    name: str
    size: int
    sha256: str


@dataclass(frozen=True)
class Manifest:
    """What an archive says of itself."""

    made_at: str
    versions: dict[str, str]
    vendor: str
    migrations: list[str]
    counts: dict[str, int]
    parts: list[Part]
    missing: list[str] = field(default_factory=list)
    format: int = FORMAT

    @property
    def database(self) -> str:
        return dumps.FILE_NAMES[self.vendor]

    @property
    def stored(self) -> list[Part]:
        """Photos and other stored files."""
        return [part for part in self.parts if part.name.startswith(FILES)]


@dataclass(frozen=True)
class Made:
    """A backup that was made: where, its manifest, and older ones that were thinned out."""

    path: Path
    manifest: Manifest
    thinned: list[Path]


def make_backup(folder: Path, *, keep: int | None = None, now: datetime | None = None) -> Made:
    """Back everything up into a new archive in ``folder``; of all in it the newest ``keep`` stay.

    Raises ``BackupError`` saying why there is none; then nothing new is in the folder, and nothing
    was thinned out.
    """
    moment = (now or datetime.now(UTC)).astimezone(UTC)
    path = folder / f"saddleroom-{moment:%Y%m%dT%H%M%SZ}.zip"
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        _clear_away_abandoned(folder, moment)
        with tempfile.TemporaryDirectory(prefix=".saddleroom-", dir=folder) as working:
            manifest = _write_archive(Path(working), moment)
            written = Path(working) / "archive"
            check_archive(written, Path(working))
            named = _name(written, path)
        return Made(named, manifest, _thin(folder, keep))
    except OSError as error:
        raise BackupError(f"The backup could not be written: {_reason(error)}.") from error
    except (sqlite3.Error, DatabaseError) as error:
        raise BackupError(f"The database could not be copied: {error}.") from error


def _write_archive(working: Path, moment: datetime) -> Manifest:
    copy = working / "database"
    facts = dumps.copy_database(copy)
    vendor = dumps.vendor()
    parts: list[Part] = []
    fd = os.open(working / "archive", os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600)
    with os.fdopen(fd, "w+b") as file:
        with zipfile.ZipFile(file, "w") as archive:
            with copy.open("rb") as source:
                name = dumps.FILE_NAMES[vendor]
                # PostgreSQL's dump is compressed already, and so are photos.
                packed = zipfile.ZIP_DEFLATED if vendor == "sqlite" else zipfile.ZIP_STORED
                parts.append(_add(archive, name, source, packed))
            copy.unlink()
            for name in stored_files():
                with suppress(FileNotFoundError), default_storage.open(name) as source:
                    parts.append(_add(archive, FILES + name, source, zipfile.ZIP_STORED))
            kept = {part.name.removeprefix(FILES) for part in parts}
            manifest = Manifest(
                made_at=moment.isoformat(timespec="seconds"),
                versions=_versions(facts.server),
                vendor=vendor,
                migrations=facts.migrations,
                counts=facts.counts,
                parts=parts,
                missing=[name for name in facts.files if name not in kept],
            )
            text = json.dumps(asdict(manifest), indent=1, ensure_ascii=False)
            archive.writestr(MANIFEST, text, zipfile.ZIP_DEFLATED)
        file.flush()
        os.fsync(file.fileno())
    return manifest


def _add(archive: zipfile.ZipFile, name: str, source: IO[bytes], packed: int) -> Part:
    info = zipfile.ZipInfo(name)
    info.compress_type, info.external_attr = packed, 0o600 << 16
    with archive.open(info, "w", force_zip64=True) as target:
        size, digest = _copied(source, target)
    return Part(name, size, digest)


def _copied(source: Any, target: Any, most: int | None = None) -> tuple[int, str]:
    """Copy a stream; its size and SHA-256. Stops beyond ``most`` bytes, which the size then shows."""
    digest, size = hashlib.sha256(), 0
    while chunk := source.read(CHUNK_BYTES):
        digest.update(chunk)
        size += len(chunk)
        if most is not None and size > most:
            break
        if target is not None:
            target.write(chunk)
    return size, digest.hexdigest()


def stored_files(folder: str = "") -> Iterator[str]:
    """Names of all files in the storage of photos, wherever that is."""
    try:
        folders, files = default_storage.listdir(folder)
    except FileNotFoundError:
        return
    prefix = f"{folder}/" if folder else ""
    yield from (prefix + name for name in sorted(files))
    for name in sorted(folders):
        yield from stored_files(prefix + name)


def _versions(server: str) -> dict[str, str]:
    project = tomllib.loads((settings.BASE_DIR / "pyproject.toml").read_text(encoding="utf-8"))
    return {
        "saddleroom": project["project"]["version"],
        "django": django.get_version(),
        "python": platform.python_version(),
        "database": server,
    }


def _name(written: Path, path: Path) -> Path:
    """Give the checked archive its name, for good: never that of another, and past a power cut."""
    for number in range(1, 10):
        named = path if number == 1 else path.with_stem(f"{path.stem}_{number}")
        try:
            os.link(written, named)
        except FileExistsError:
            continue
        except OSError:  # a file system without links
            written.rename(named)
        break
    else:
        raise BackupError(f"{path.name} and others of the same second are there already.")
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
    return named


# Reading an archive


def read_manifest(archive: zipfile.ZipFile) -> Manifest:
    """What an archive says of itself. Raises ``BackupError`` where it is no backup of ours."""
    try:
        if archive.getinfo(MANIFEST).file_size > MANIFEST_MOST_BYTES:
            raise BackupError("The backup's manifest is too large to be one.")
        said = json.loads(archive.read(MANIFEST))
        if said["format"] != FORMAT:
            raise BackupError(
                f"The backup has format {said['format']}, this release reads {FORMAT}."
            )
        manifest = Manifest(**{**said, "parts": [Part(**part) for part in said["parts"]]})
        database = manifest.database
    except (KeyError, TypeError, ValueError, zipfile.BadZipFile) as error:
        raise BackupError(
            "The file is no backup of Saddleroom, or its manifest is damaged."
        ) from error
    names = [part.name for part in manifest.parts]
    if names.count(database) != 1 or sorted([*names, MANIFEST]) != sorted(archive.namelist()):
        raise BackupError("The backup does not hold just what its manifest names.")
    for part in manifest.parts:
        if part.name != database:
            check_name(part.name)
    return manifest


def check_name(name: str) -> None:
    """Refuse a name in an archive that could lead out of the photos' folder."""
    inner = name.removeprefix(FILES)
    steps = inner.split("/")
    plain = inner.isprintable() and not {"\\", ":"} & set(inner)
    if not name.startswith(FILES) or not plain or not all(steps) or {".", ".."} & set(steps):
        raise BackupError(f"The backup holds a file with a name that is refused: {name[:80]!a}.")


def check_archive(path: Path, working: Path) -> Manifest:
    """Open an archive, compare every sum and let the database's tools look through its copy.

    Leaves the copy of the database in ``working``, for ``put_back``. Raises ``BackupError``.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            manifest = read_manifest(archive)
            for part in manifest.parts:
                unpack(
                    archive, part, working / part.name if part.name == manifest.database else None
                )
    except (zipfile.BadZipFile, EOFError, RuntimeError, zlib.error) as error:
        raise BackupError(f"The backup is damaged: {error}.") from error
    if manifest.vendor == dumps.vendor():
        dumps.check_copy(working / manifest.database)
    return manifest


def unpack(archive: zipfile.ZipFile, part: Part, to: Path | None) -> None:
    """Read one part, into a file where one is given. Raises ``BackupError`` if its sum is another."""
    with archive.open(part.name) as source:
        if to is None:
            found = _copied(source, None, part.size)
        else:
            with to.open("xb") as target:
                found = _copied(source, target, part.size)
    if found != (part.size, part.sha256):
        raise BackupError(f"The backup is damaged: {part.name[:80]!a} is not what was saved.")


# Older ones, and the newest


def backups_in(folder: Path) -> list[Path]:
    """The backups in a folder, oldest first."""
    return sorted(path for path in folder.iterdir() if NAME.fullmatch(path.name))


def _thin(folder: Path, keep: int | None) -> list[Path]:
    if keep is None:
        return []
    old = backups_in(folder)[:-keep]
    for path in old:
        path.unlink(missing_ok=True)
    return old


def _clear_away_abandoned(folder: Path, now: datetime) -> None:
    """Take away what a backup that was killed left behind."""
    for path in folder.glob(".saddleroom-*"):
        if datetime.fromtimestamp(path.stat().st_mtime, UTC) < now - ABANDONED:
            for inner in path.iterdir():
                inner.unlink()
            path.rmdir()


def _reason(error: OSError) -> str:
    return f"{error.strerror or error}" + (f" ({error.filename})" if error.filename else "")


@dataclass(frozen=True)
class Standing:
    """How the shop's backups stand: the newest, its age, and why a later one failed, if one did."""

    made_at: datetime | None = None
    size: int = 0
    files: int = 0
    missing: int = 0
    failed_at: datetime | None = None
    why: str = ""
    late: bool = True


def note_made(made: Made) -> None:
    """Keep when the last backup was made, for the owner's page."""
    manifest = made.manifest
    _note(
        {
            "made_at": manifest.made_at,
            "size": made.path.stat().st_size,
            "files": len(manifest.stored),
            "missing": len(manifest.missing),
        }
    )


def note_failed(why: str, now: datetime | None = None) -> None:
    """Keep that the last attempt failed, beside the last one that did not."""
    moment = (now or datetime.now(UTC)).isoformat(timespec="seconds")
    _note({**_noted(), "failed_at": moment, "why": why})


def standing(now: datetime | None = None) -> Standing:
    """How the shop's backups stand, as noted in the folder of backups."""
    noted = _noted()
    try:
        made_at = _moment(noted.get("made_at"))
        return Standing(
            made_at=made_at,
            size=int(noted.get("size", 0)),
            files=int(noted.get("files", 0)),
            missing=int(noted.get("missing", 0)),
            failed_at=_moment(noted.get("failed_at")),
            why=str(noted.get("why", "")),
            late=made_at is None or (now or datetime.now(UTC)) - made_at > LATE,
        )
    except (
        TypeError,
        ValueError,
    ):  # the note is damaged; that there is none is the safer thing to say
        return Standing()


def _moment(text: Any) -> datetime | None:
    return datetime.fromisoformat(text) if text else None


def _note(facts: dict[str, Any]) -> None:
    folder = Path(settings.BACKUP_DIR)
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    with tempfile.NamedTemporaryFile("w", dir=folder, prefix=".last-", delete=False) as file:
        json.dump(facts, file)
    os.replace(file.name, folder / LAST)


def _noted() -> dict[str, Any]:
    try:
        noted = json.loads((Path(settings.BACKUP_DIR) / LAST).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return noted if isinstance(noted, dict) else {}
