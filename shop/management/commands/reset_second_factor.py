"""For an owner who has lost both device and backup codes, by whoever has the server in hand."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from shop.models import User
from shop.sign_in.codes import switch_off


class Command(BaseCommand):
    help = "Take the second factor off a person's account; the password alone signs in again."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username")

    def handle(self, *args: Any, **options: Any) -> None:
        person = User.objects.filter(username=options["username"]).first()
        if person is None:
            raise CommandError(f"There is nobody named {options['username']}.")
        switch_off(person)
        self.stdout.write(f"{person} signs in by password alone, and is signed out everywhere.")
