"""Erases customers whom the shop has not seen for as long as it keeps them."""

from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from measurements.privacy.acts import erase_customer
from measurements.privacy.record import unseen
from shop.access import forget_old_access
from shop.models import ShopProfile, User


class Command(BaseCommand):
    help = (
        "Erase customers not seen for the years that the settings say, and forget who read personal "
        "data more than a year ago. Customers are named by code only."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--dry-run", action="store_true", help="Only say who would be erased.")
        parser.add_argument("--by", help="Name to sign in with of whoever decided it.")

    def handle(self, *args: Any, **options: Any) -> None:
        years = ShopProfile.current().keep_contacts_years
        by = self._person(options["by"]) if options["by"] else None
        found = list(unseen(years))
        dry = options["dry_run"]
        for customer in found:
            seen = timezone.localtime(customer.seen_at).date()  # type: ignore[attr-defined]
            try:
                if not dry:
                    erase_customer(customer, by=by, reason=f"not seen for {years} years")
            except ValidationError as error:
                raise CommandError(f"{customer.code}: {' '.join(error.messages)}") from error
            self.stdout.write(
                f"{customer.code}, last seen {seen}: {'would be erased' if dry else 'erased'}"
            )
        if not found:
            self.stdout.write("Nobody to erase." if years else "Customers are kept for ever.")
        if not dry:
            forget_old_access()

    def _person(self, name: str) -> User:
        try:
            return User.objects.get(username=name)
        except User.DoesNotExist:
            raise CommandError(f"Nobody signs in as {name}.") from None
