"""Recomputes outlooks from the facts: of the whole fleet, which first teaches its prior, or of tags."""

from collections.abc import Callable
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from instruments.models import Instrument
from measurements.facts.rows import start_of
from measurements.forecast.refreshing import learn_from_fleet, refresh

BAR = 30


class Command(BaseCommand):
    help = "Recompute every outlook from the readings and the work on record."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("tags", nargs="*", help="Only these instruments; none: all of them.")
        parser.add_argument(
            "--resume",
            action="store_true",
            help="Go on with an interrupted run: leave out what was recomputed today.",
        )

        parser.add_argument(
            "--once-a-day",
            action="store_true",
            help="Learn and recompute what no machine has today; for a timer on each of several.",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        talks = options["verbosity"] > 0
        tags, resume, once = options["tags"], options["resume"], options["once_a_day"]
        since = None
        if not tags and not resume:
            began = start_of(timezone.localdate()) if once else timezone.now()
            prior = learn_from_fleet(
                unless_since=began, progress=self._bar("learning") if talks else None
            )
            since = prior.learnt_at if prior else None
            if talks and prior is not None:
                self.stdout.write(f"Lift as learnt from {prior.instruments} instruments.")
            elif talks:
                self.stdout.write("Too few instruments to learn from: planning defaults.")
        total = refresh(
            self._ids(tags) if tags else None,
            resume=resume or once,
            since=since,
            progress=self._bar("outlooks") if talks else None,
        )
        if talks:
            self.stdout.write(f"{total} outlook{'' if total == 1 else 's'} recomputed.")

    def _ids(self, tags: list[str]) -> list[int]:
        found = dict(Instrument.objects.filter(tag__in=tags).values_list("tag", "pk"))
        missing = [tag for tag in tags if tag not in found]
        if missing:
            raise CommandError(f"No instrument has the tag {', '.join(missing)}.")
        return sorted(found.values())

    def _bar(self, words: str) -> Callable[[int, int], None]:
        def show(done: int, total: int) -> None:
            filled = BAR * done // max(total, 1)
            bar = "#" * filled + "-" * (BAR - filled)
            end = "\n" if done == total else "\r"
            self.stderr.write(f"{words} [{bar}] {done} of {total}", ending=end)

        return show
