"""Starts the server for this machine and says where it is."""

import os
import socket
import sys
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from shop.demo import DEMO_PASSWORD, demo_logins


class Command(BaseCommand):
    help = "Start the web server on this machine and print its address."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--host", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--workers", type=int, default=2)

    def handle(self, *args: Any, **options: Any) -> None:
        host, port = options["host"], options["port"]
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except OSError as error:
                raise CommandError(
                    f"Port {port} on {host} is taken ({error.strerror}). Stop what uses it, or "
                    f"choose another: make demo PORT={port + 1}"
                ) from error
        self.stdout.write(f"\nSaddleroom is at http://{host}:{port}/ – stop it with Ctrl+C.")
        logins = demo_logins()
        if logins:
            self.stdout.write(f"Demo people, all with the password {DEMO_PASSWORD}:")
            for name, roles in logins:
                self.stdout.write(f"  {name:<8} {roles}")
        self.stdout.flush()
        gunicorn = [
            sys.executable, "-m", "gunicorn", "shop.wsgi", "--bind", f"{host}:{port}",
            "--workers", str(options["workers"]), "--timeout", "120", "--preload", "--log-level", "warning",
            "--logger-class", "shop.server_log.ServerLog",
        ]  # fmt: skip
        os.chdir(settings.BASE_DIR)
        os.execv(sys.executable, gunicorn)  # noqa: S606  the server takes this process's place
