"""Adds a member of staff with a role; the password is asked for, never given on the command line."""

import getpass
from typing import Any

from django.contrib.auth.models import Group
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from shop.models import User
from shop.roles import ROLES


class Command(BaseCommand):
    help = "Add a member of staff."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", help="The name to sign in with.")
        parser.add_argument("--role", choices=ROLES, required=True)

    def handle(self, *args: Any, **options: Any) -> None:
        person = User(username=options["name"])
        if User.objects.filter(username__iexact=person.username).exists():
            raise CommandError(f"There is a person named {person.username} already.")
        password = getpass.getpass(f"Password for {person.username}: ")
        if getpass.getpass("The same again: ") != password:
            raise CommandError("The two passwords differ; nobody was added.")
        try:
            validate_password(password, person)
            person.set_password(password)
            person.full_clean()
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        with transaction.atomic():
            person.save()
            person.groups.add(Group.objects.get(name=options["role"]))
        self.stdout.write(f"{person.username} can sign in as {options['role']}.")
