"""``manage.py export_outlooks``: the whole fleet's outlooks as CSV on standard output."""

from argparse import ArgumentParser, ArgumentTypeError
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand

from measurements.forecast.exporting import outlook_frame

FIRST_DAY, LAST_DAY = date(1900, 1, 1), date(2200, 12, 31)


def day(text: str) -> date:
    """An ISO date, for the command line."""
    try:
        value = date.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f"{text!r} is no date; write it as 2026-03-31") from None
    if not FIRST_DAY <= value <= LAST_DAY:
        raise ArgumentTypeError(f"{text} is not between {FIRST_DAY} and {LAST_DAY}")
    return value


class Command(BaseCommand):
    help = "Writes every instrument's outlook as CSV (mm, ISO dates) to standard output."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--as-of", metavar="DATE", type=day, help="as of this day instead of today"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        frame = outlook_frame(options["as_of"])
        self.stdout.write(frame.to_csv(index=False, lineterminator="\n"), ending="")
