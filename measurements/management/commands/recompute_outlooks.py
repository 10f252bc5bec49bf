"""Recomputes outlooks from the facts, for the whole fleet or for some tags."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from instruments.models import Instrument
from measurements.outlooks import refresh

BAR = 30


class Command(BaseCommand):
    help = "Recompute every outlook from the readings and the work on record."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("tags", nargs="*", help="Only these instruments; none: all of them.")

    def handle(self, *args: Any, **options: Any) -> None:
        ids = None
        if options["tags"]:
            found = dict(
                Instrument.objects.filter(tag__in=options["tags"]).values_list("tag", "pk")
            )
            missing = [tag for tag in options["tags"] if tag not in found]
            if missing:
                raise CommandError(f"No instrument has the tag {', '.join(missing)}.")
            ids = sorted(found.values())
        total = refresh(ids, progress=self._show if options["verbosity"] else None)
        if options["verbosity"]:
            self.stdout.write(f"{total} outlook{'' if total == 1 else 's'} recomputed.")

    def _show(self, done: int, total: int) -> None:
        filled = BAR * done // total
        end = "\n" if done == total else "\r"
        bar = "#" * filled + "-" * (BAR - filled)
        self.stderr.write(f"[{bar}] {done} of {total}", ending=end)
