"""Puts a backup back, after checking everything in it."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from shop.dumps import BackupError
from shop.restoring import check, restore


class Command(BaseCommand):
    help = "Put a backup back into an empty database, or in the place of what is there."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument(
            "--replace",
            action="store_true",
            help="Put it in the place of what the database holds; that is backed up first.",
        )
        parser.add_argument(
            "--check", action="store_true", help="Only check the file; change nothing."
        )

    def handle(self, *args: Any, **options: Any) -> None:
        path = options["file"].absolute()
        try:
            if options["check"]:
                manifest = check(path)
                self.stdout.write(
                    f"The backup of {manifest.made_at} is whole: {sum(manifest.counts.values())} "
                    f"rows, {len(manifest.stored)} files."
                )
                return
            restored = restore(path, replace=options["replace"])
        except BackupError as error:
            raise CommandError(str(error)) from error
        manifest = restored.manifest
        self.stdout.write(
            f"Restored the backup of {manifest.made_at}: {sum(manifest.counts.values())} rows; "
            f"{restored.files_added} files stored, the others were there."
        )
        if restored.migrated:
            self.stdout.write(f"Brought up to this release: {', '.join(restored.migrated)}.")
        if restored.before is not None:
            self.stdout.write(f"What was there before is kept in {restored.before}.")
        self.stdout.write("Everybody signs in again. Now run: manage.py recompute_outlooks")
