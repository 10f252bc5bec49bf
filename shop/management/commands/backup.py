"""Backs up the database and the photos into one checked file, while the shop works on."""

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from shop.backups import make_backup, note_failed, note_made
from shop.dumps import BackupError


class Command(BaseCommand):
    help = "Back up the database and the photos into one checked file."
    # A backup must be possible whatever else is wrong.
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "folder", nargs="?", type=Path, help="Where to put it; otherwise SADDLEROOM_BACKUPS."
        )
        parser.add_argument(
            "--keep", type=int, metavar="N", help="Of the backups in the folder keep the newest N."
        )

    def handle(self, *args: Any, **options: Any) -> None:
        keep = options["keep"]
        if keep is not None and keep < 1:
            raise CommandError("--keep must be 1 or more: the newest backup stays.")
        folder = options["folder"] or Path(settings.BACKUP_DIR)
        try:
            made = make_backup(folder.absolute(), keep=keep)
        except BackupError as error:
            self._note(note_failed, str(error))
            raise CommandError(f"No backup was made. {error}") from error
        self._note(note_made, made)
        manifest = made.manifest
        if options["verbosity"]:
            self.stdout.write(
                f"{made.path}: {made.path.stat().st_size / 1e6:.1f} MB, "
                f"{sum(manifest.counts.values())} rows, {len(manifest.stored)} files; checked."
            )
            for path in made.thinned:
                self.stdout.write(f"thinned out: {path.name}")
        if manifest.missing:
            self.stderr.write(
                f"{len(manifest.missing)} files that the database names are not in the storage, "
                f"the first {manifest.missing[0]}. An older backup may have them."
            )

    def _note(self, note: Any, what: Any) -> None:
        try:
            note(what)
        except OSError as error:
            self.stderr.write(f"The owner's page will not show this: {error}")
