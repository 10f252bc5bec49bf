"""``manage.py import_readings FILE``: a shop's old log, or an export of a whole shop, is taken in."""

import logging
import sys
from argparse import ArgumentParser
from pathlib import Path, PurePath
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from measurements.old_records.findings import Problem
from measurements.old_records.planning import Report, TableError, import_file
from shop.models import User

log = logging.getLogger(__name__)
SHOWN = 50


class Command(BaseCommand):
    help = (
        "Imports check-ins from a log (CSV in UTF-8, or a sheet of an XLSX workbook), or takes back an "
        "export of the whole shop; - reads standard input."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "file", metavar="FILE", help="CSV, XLSX or ZIP; or - for standard input"
        )
        parser.add_argument("--sheet", default="", help="the workbook's sheet, if not its first")
        parser.add_argument("--by", metavar="USERNAME", default="", help="who imports it")
        parser.add_argument(
            "--skip-bad-rows", action="store_true", help="import the other rows when some are bad"
        )
        parser.add_argument(
            "--dry-run", action="store_true", help="say what would happen and write nothing"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        skip, dry_run = options["skip_bad_rows"], options["dry_run"]
        try:
            report = import_file(
                _read(options["file"]),
                file_name=PurePath(options["file"]).name,
                sheet=options["sheet"],
                by=_person(options["by"]),
                skip_bad_rows=skip,
                dry_run=dry_run,
            )
        except TableError as error:
            raise CommandError(f"{error}") from error
        self._list("Unusual, please check:", report.warnings)
        self._list("Bad rows:", report.problems)
        if report.problems and not (report.written or (dry_run and skip)):
            count = len({(problem.sheet, problem.line) for problem in report.problems})
            raise CommandError(
                f"Nothing was imported: {count} of {report.read} rows {'is' if count == 1 else 'are'} "
                "bad. Correct the file, or leave them out with --skip-bad-rows."
            )
        self.stdout.write(_summary(report, dry_run))
        if report.written:
            self._refresh(report.touched)

    def _list(self, title: str, problems: list[Problem]) -> None:
        if not problems:
            return
        lines = [title, *(f"  {problem}" for problem in problems[:SHOWN])]
        if len(problems) > SHOWN:
            lines.append(f"  … and {len(problems) - SHOWN} more, {len(problems)} in all")
        self.stderr.write("\n".join(lines))

    def _refresh(self, touched: list[int]) -> None:
        """The readings are saved; a fault in the forecast is told and costs none of them."""
        from measurements.forecast import refreshing

        try:
            refreshing.refresh(touched)
        except Exception:
            log.exception("outlooks not refreshed after an import")
            self.stderr.write(
                "The readings are saved, but the outlooks could not be refreshed; "
                "run manage.py recompute_outlooks."
            )


def _person(username: str) -> User | None:
    found = User.objects.filter(username=username).first()
    if username and found is None:
        raise CommandError(f"Nobody here has the username {username}.")
    return found


def _read(name: str) -> bytes:
    if name == "-":
        return sys.stdin.buffer.read()
    try:
        return Path(name).read_bytes()
    except (OSError, ValueError) as error:
        raise CommandError(f"Cannot read {name}: {error}") from error


def _summary(report: Report, dry_run: bool) -> str:
    counts = [
        ("Rows read", report.read),
        ("Check-ins added", report.added),
        ("Already there", report.already),
        ("Skipped", report.skipped),
        ("Work added", report.work_added),
        ("Customers added", report.customers_added),
        ("Instruments added", report.instruments_added),
        ("Instruments updated", report.instruments_updated),
    ]
    lines = ["Dry run: nothing was written. It would be:"] if dry_run else []
    lines += [f"{name}: {count}" for name, count in counts]
    lines += [f"  {note}" for note in report.notes[:SHOWN]]
    if len(report.notes) > SHOWN:
        lines.append(f"  … and {len(report.notes) - SHOWN} more")
    return "\n".join(lines)
