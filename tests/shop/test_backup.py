"""Backing up and restoring: the drill, what is refused, and that nothing is lost by either."""

import hashlib
import json
import re
import sqlite3
import zipfile
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import OperationalError, connection
from django.urls import reverse

from instruments.models import Instrument
from measurements.models import CheckIn
from shop import backups, dumps
from shop.backups import make_backup
from shop.dumps import BackupError
from shop.models import Customer, User
from shop.restoring import restore
from tests.factories import CheckInFactory, CustomerFactory, PhotoFactory, UserFactory

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def folder(settings, tmp_path) -> Path:
    settings.MEDIA_ROOT = str(tmp_path / "photos")
    settings.BACKUP_DIR = str(tmp_path / "backups")
    return tmp_path / "backups"


@pytest.fixture
def shop_at_work() -> CheckIn:
    """One instrument, one check-in with a photo, one owner."""
    check_in = CheckInFactory(notes="Buzz at 9 – “loud”", bridge_rise_mm=0.43)
    PhotoFactory(check_in=check_in)
    UserFactory(username="boss", role="owner")
    return check_in


def lose_everything() -> None:
    call_command("flush", interactive=False, verbosity=0)
    for name in list(backups.stored_files()):
        default_storage.delete(name)


def run(command: str, *args: object) -> str:
    out = StringIO()
    call_command(command, *[str(arg) for arg in args], stdout=out, stderr=out)
    return out.getvalue()


def only_backup(folder: Path) -> Path:
    (found,) = backups.backups_in(folder)
    return found


def rewritten(path: Path, to: Path, **changed: bytes | None) -> Path:
    """A copy of an archive with the content of some parts changed; None leaves the part out."""
    with zipfile.ZipFile(path) as source, zipfile.ZipFile(to, "w") as target:
        for name in source.namelist():
            content = changed.pop(name, source.read(name))
            if content is not None:
                target.writestr(name, content)
        for name, content in changed.items():
            target.writestr(name, content or b"")
    return to


def manifest_of(path: Path) -> dict:
    with zipfile.ZipFile(path) as archive:
        return json.loads(archive.read("manifest.json"))


def test_the_drill_gives_back_every_entry_and_every_photo(shop_at_work, folder):
    photo = shop_at_work.photos.get()
    with photo.image.open() as file:
        picture = file.read()
    assert "checked" in run("backup")
    lose_everything()
    assert not CheckIn.objects.exists()
    said = run("restore", only_backup(folder))
    assert "1 files stored" in said
    found = CheckIn.objects.get()
    assert (found.uuid, found.notes) == (shop_at_work.uuid, "Buzz at 9 – “loud”")
    assert found.bridge_rise_mm == 0.43
    assert found.measured_at == shop_at_work.measured_at
    assert found.action_readings.count() == 4
    assert found.instrument.joint.kind == shop_at_work.instrument.joint.kind
    assert User.objects.get(username="boss").check_password("saddle-demo")
    assert User.objects.get(username="boss").groups.get().name == "owner"
    with found.photos.get().image.open() as file:
        assert file.read() == picture
    # What comes after goes on from there: no key is given out twice.
    CheckInFactory(instrument=found.instrument)
    assert CheckIn.objects.count() == 2


def test_the_manifest_says_what_is_in_it_and_the_sums_are_right(shop_at_work, folder):
    run("backup")
    path = only_backup(folder)
    said = manifest_of(path)
    assert said["counts"]["measurements_checkin"] == 1
    assert said["counts"]["measurements_actionreading"] == 4
    assert "measurements.0001_start" in said["migrations"]
    assert said["vendor"] == connection.vendor
    assert set(said["versions"]) == {"saddleroom", "django", "python", "database"}
    assert said["missing"] == []
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() is None
        assert {part["name"] for part in said["parts"]} == set(archive.namelist()) - {
            "manifest.json"
        }
        for part in said["parts"]:
            content = archive.read(part["name"])
            assert (len(content), hashlib.sha256(content).hexdigest()) == (
                part["size"],
                part["sha256"],
            )
    assert path.stat().st_mode & 0o077 == 0
    assert sorted(item.name for item in folder.iterdir()) == ["last-backup.json", path.name]


def test_a_photo_that_is_not_in_the_storage_is_named(shop_at_work, folder):
    default_storage.delete(shop_at_work.photos.get().image.name)
    assert "1 files that the database names are not in the storage" in run("backup")
    assert manifest_of(only_backup(folder))["missing"] == [shop_at_work.photos.get().image.name]


def test_a_database_that_holds_anything_is_not_overwritten(shop_at_work, folder):
    run("backup")
    late = CustomerFactory(name="Came after")
    with pytest.raises(CommandError, match=r"holds entries already .*--replace"):
        run("restore", only_backup(folder))
    assert Customer.objects.filter(pk=late.pk).exists()
    said = run("restore", only_backup(folder), "--replace")
    assert not Customer.objects.filter(name="Came after").exists()
    kept = Path(re.search(r"kept in (\S+\.zip)", said)[1])
    # Nothing is lost by it: what was replaced can be put back.
    run("restore", kept, "--replace")
    assert Customer.objects.filter(name="Came after").exists()


def test_whoever_was_signed_in_then_is_not_let_in_by_a_restore(at_desk, folder):
    assert at_desk.get(reverse("home"), follow=True).status_code == 200
    run("backup")
    run("restore", only_backup(folder), "--replace")
    assert at_desk.get(reverse("the-shop")).status_code == 302


def test_a_photo_that_was_damaged_meanwhile_is_mended_only_with_replace(shop_at_work, folder):
    name = shop_at_work.photos.get().image.name
    with default_storage.open(name) as file:
        picture = file.read()
    run("backup")
    lose_everything()
    default_storage.save(name, ContentFile(b"not what it was"))
    with pytest.raises(CommandError, match="1 stored files differ"):
        run("restore", only_backup(folder))
    assert not CheckIn.objects.exists()
    run("restore", only_backup(folder), "--replace")
    with default_storage.open(name) as file:
        assert file.read() == picture


@pytest.fixture
def archive(shop_at_work, folder) -> Path:
    return make_backup(folder).path


def refused(path: Path, words: str) -> None:
    """The archive is refused, and everything is as it was, whatever the options."""
    before = dumps.facts_now()
    files = list(backups.stored_files())
    for options in ([], ["--replace"], ["--check"]):
        with pytest.raises(CommandError, match=words):
            run("restore", path, *options)
    assert dumps.facts_now() == before
    assert list(backups.stored_files()) == files


def test_one_changed_byte_is_found(archive, tmp_path):
    content = bytearray(archive.read_bytes())
    content[len(content) // 3] ^= 1
    damaged = tmp_path / "damaged.zip"
    damaged.write_bytes(content)
    refused(damaged, "damaged")


def test_a_part_that_is_cut_short_is_found(archive, tmp_path):
    cut = tmp_path / "cut.zip"
    cut.write_bytes(archive.read_bytes()[:-200])
    refused(cut, "damaged")


def test_a_part_with_other_content_is_found(archive, tmp_path):
    name = manifest_of(archive)["parts"][-1]["name"]
    refused(rewritten(archive, tmp_path / "x.zip", **{name: b"x"}), "is not what was saved")


def test_a_part_too_many_or_too_few_is_found(archive, tmp_path):
    name = manifest_of(archive)["parts"][-1]["name"]
    words = "does not hold just what its manifest names"
    refused(rewritten(archive, tmp_path / "less.zip", **{name: None}), words)
    refused(rewritten(archive, tmp_path / "more.zip", extra=b"x"), words)


@pytest.mark.parametrize(
    "name",
    [
        "files/../outside.txt",
        "files/photos/../../outside.txt",
        "files//etc/outside.txt",
        "/outside.txt",
        "../outside.txt",
        "files/..\\outside.txt",
        "files/C:outside.txt",
        "files/./outside.txt",
        "files/a\nb",
    ],
)
def test_a_name_that_leads_out_of_the_photos_is_refused(name, archive, tmp_path):
    said = manifest_of(archive)
    said["parts"].append({"name": name, "size": 1, "sha256": hashlib.sha256(b"x").hexdigest()})
    changed = {"manifest.json": json.dumps(said).encode(), name: b"x"}
    hostile = rewritten(archive, tmp_path / "hostile.zip", **changed)
    refused(hostile, "a name that is refused")
    assert not list(tmp_path.rglob("outside.txt"))


def test_what_is_no_backup_is_refused(tmp_path):
    plain = tmp_path / "plain.zip"
    plain.write_bytes(b"not an archive")
    refused(plain, "damaged")
    with zipfile.ZipFile(tmp_path / "other.zip", "w") as other:
        other.writestr("readme.txt", "hello")
    refused(tmp_path / "other.zip", "no backup of Saddleroom")
    refused(tmp_path / "absent.zip", "could not be read|could not be restored")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"format": 99}, "format 99"),
        ({"vendor": "oracle"}, "no backup of Saddleroom"),
        ({"parts": "none"}, "no backup of Saddleroom"),
    ],
)
def test_a_manifest_of_another_kind_is_refused(change, words, archive, tmp_path):
    said = {**manifest_of(archive), **change}
    changed = {"manifest.json": json.dumps(said).encode()}
    refused(rewritten(archive, tmp_path / "x.zip", **changed), words)


def test_a_backup_of_a_newer_release_is_not_restored(archive, tmp_path):
    said = manifest_of(archive)
    said["migrations"].append("measurements.9999_from_the_future")
    newer = rewritten(archive, tmp_path / "x.zip", **{"manifest.json": json.dumps(said).encode()})
    with pytest.raises(BackupError, match=r"newer release, with measurements\.9999"):
        restore(newer, replace=True)
    assert CheckIn.objects.count() == 1


def test_a_backup_of_the_other_kind_of_database_is_not_restored(archive, tmp_path):
    said = manifest_of(archive)
    other = {"sqlite": "postgresql", "postgresql": "sqlite"}[said["vendor"]]
    said["vendor"] = other
    part = next(part for part in said["parts"] if part["name"] in dumps.FILE_NAMES.values())
    old, part["name"] = part["name"], dumps.FILE_NAMES[other]
    with zipfile.ZipFile(archive) as source:
        content = source.read(old)
    changed = {"manifest.json": json.dumps(said).encode(), old: None, part["name"]: content}
    with pytest.raises(BackupError, match=f"backup of a {other} database"):
        restore(rewritten(archive, tmp_path / "x.zip", **changed), replace=True)
    assert CheckIn.objects.count() == 1


def test_old_backups_are_thinned_and_only_ours(shop_at_work, folder):
    folder.mkdir()
    (folder / "saddleroom-holiday.zip").write_bytes(b"somebody's own")
    start = datetime(2026, 3, 1, 2, 0, tzinfo=UTC)
    for day in range(5):
        make_backup(folder, keep=3, now=start + timedelta(days=day))
    assert [path.name for path in backups.backups_in(folder)] == [
        f"saddleroom-2026030{day}T020000Z.zip" for day in (3, 4, 5)
    ]
    assert (folder / "saddleroom-holiday.zip").exists()
    with pytest.raises(CommandError, match="1 or more"):
        run("backup", "--keep", "0")


def test_two_at_the_same_moment_do_not_overwrite_one_another(shop_at_work, folder):
    now = datetime(2026, 3, 1, 2, 0, tzinfo=UTC)
    first = make_backup(folder, now=now)
    content = first.path.read_bytes()
    second = make_backup(folder, now=now)
    assert backups.backups_in(folder) == [first.path, second.path]
    assert first.path.read_bytes() == content


def test_a_copy_that_fails_its_check_never_becomes_a_backup(shop_at_work, folder, monkeypatch):
    good = make_backup(folder, now=datetime(2026, 3, 1, tzinfo=UTC)).path
    copy = dumps.copy_database

    def torn(path: Path) -> dumps.Facts:
        facts = copy(path)
        with path.open("r+b") as file:
            file.truncate(path.stat().st_size // 2)
        return facts

    monkeypatch.setattr(dumps, "copy_database", torn)
    with pytest.raises(CommandError, match="No backup was made"):
        run("backup", "--keep", "1")
    assert only_backup(folder) == good
    assert not list(folder.glob(".saddleroom-*"))


def test_a_folder_that_cannot_be_written_is_named(shop_at_work, tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(CommandError, match=r"No backup was made.*file"):
        run("backup", tmp_path / "file" / "inside")


@pytest.mark.parametrize("kind", [sqlite3.OperationalError, OperationalError])
def test_a_disk_that_fills_under_the_copy_is_named_and_leaves_nothing(
    kind, shop_at_work, folder, monkeypatch
):
    def full(path: Path) -> None:
        path.write_bytes(b"begun")
        raise kind("database or disk is full")

    monkeypatch.setattr(dumps, "copy_database", full)
    with pytest.raises(CommandError, match=r"No backup was made.*disk is full"):
        run("backup")
    assert [item.name for item in folder.iterdir()] == ["last-backup.json"]
    assert backups.standing().why == "The database could not be copied: database or disk is full."


# What the owner is told


def test_the_owner_sees_the_age_of_the_last_backup(at_desk, at_bench, shop_at_work):
    address = reverse("the-shop")
    assert "No backup was ever made" in at_desk.get(address).text
    run("backup")
    text = at_desk.get(address).text
    assert "Last backup" in text
    assert "1 photo" in text
    assert "note warn" not in text
    assert "backup" not in at_bench.get(address).text


def test_an_old_or_failed_backup_warns_the_owner(at_desk, owner, monkeypatch, time_machine):
    address = reverse("the-shop")
    time_machine.move_to(datetime(2026, 3, 1, 2, 0, tzinfo=UTC), tick=False)
    run("backup")
    time_machine.move_to(datetime(2026, 3, 2, 3, 59, tzinfo=UTC), tick=False)
    at_desk.force_login(owner)
    assert "note warn" not in at_desk.get(address).text
    time_machine.move_to(datetime(2026, 3, 2, 4, 1, tzinfo=UTC), tick=False)
    assert "note warn" in at_desk.get(address).text

    run("backup")
    assert "note warn" not in at_desk.get(address).text

    def fail(path: Path) -> None:
        raise BackupError("The disk is full.")

    monkeypatch.setattr(dumps, "copy_database", fail)
    with pytest.raises(CommandError):
        run("backup")
    text = at_desk.get(address).text
    assert "note warn" in text
    assert "The disk is full." in text


def test_a_damaged_note_counts_as_no_backup(folder):
    folder.mkdir()
    for text in ("{", "[]", '{"made_at": 7}', '{"made_at": "2026-03-01", "size": "x"}'):
        (folder / backups.LAST).write_text(text)
        assert backups.standing().late
        assert backups.standing().made_at is None


def test_instruments_are_counted_in_every_table_that_is_ours(shop_at_work):
    assert dumps.holdings()["instruments_instrument"] == Instrument.objects.count() == 1
    lose_everything()
    assert dumps.holdings() == {}
