"""Production refuses to start half-configured; the desk needs nothing."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from shop.desk import desk_secret_key

ROOT = Path(__file__).parent.parent.parent
KEY = "k" * 20 + "0123456789" + "z" * 30


def start(**variables: str) -> subprocess.CompletedProcess[str]:
    ours = ("SADDLEROOM", "DJANGO_", "DATABASE_URL")
    environment = {k: v for k, v in os.environ.items() if not k.startswith(ours)}
    return subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=ROOT,
        env=environment | variables,
        capture_output=True,
        text=True,
    )


@pytest.mark.parametrize(
    ("variables", "message"),
    [
        ({}, "SADDLEROOM_SECRET_KEY must hold at least 50 random characters"),
        ({"SADDLEROOM_SECRET_KEY": "short"}, "SADDLEROOM_SECRET_KEY must hold"),
        ({"SADDLEROOM_SECRET_KEY": "x" * 60}, "SADDLEROOM_SECRET_KEY must hold"),
        ({"SADDLEROOM_SECRET_KEY": "django-insecure-" + KEY}, "SADDLEROOM_SECRET_KEY must hold"),
        ({"SADDLEROOM_SECRET_KEY": KEY}, "SADDLEROOM_HOSTS must name"),
        (
            {
                "SADDLEROOM_SECRET_KEY": KEY,
                "SADDLEROOM_HOSTS": "s.example",
                "SADDLEROOM_PROXIES": "-1",
            },
            "SADDLEROOM_PROXIES 0 or more",
        ),
        (
            {
                "SADDLEROOM_SECRET_KEY": KEY,
                "SADDLEROOM_HOSTS": "s.example",
                "SADDLEROOM_IDLE_DAYS": "0",
            },
            "SADDLEROOM_IDLE_DAYS and",
        ),
        (
            {
                "SADDLEROOM_SECRET_KEY": KEY,
                "SADDLEROOM_HOSTS": "s.example",
                "SADDLEROOM_SITE": "http://s.example",
            },
            "SADDLEROOM_SITE is an address like https://shop.example",
        ),
        (
            {
                "SADDLEROOM_SECRET_KEY": KEY,
                "SADDLEROOM_HOSTS": "s.example",
                "SADDLEROOM_SECOND_FACTOR": "yes",
            },
            "SADDLEROOM_SECOND_FACTOR is offered or required, not 'yes'",
        ),
        ({"SADDLEROOM_SECRET_KEY": KEY, "SADDLEROOM_DEBUG": "1"}, "exclude each other"),
    ],
)
def test_production_refuses_to_start(variables, message):
    result = start(SADDLEROOM_PRODUCTION="1", **variables)
    assert result.returncode != 0
    assert message in result.stderr


def test_production_passes_djangos_own_deployment_check():
    result = start(
        SADDLEROOM_PRODUCTION="1", SADDLEROOM_SECRET_KEY=KEY, SADDLEROOM_HOSTS="shop.example"
    )
    assert result.returncode == 0, result.stderr


def test_the_desks_key_is_made_once_and_is_private(tmp_path):
    path = tmp_path / "var" / "secret-key"
    key = desk_secret_key(path)
    assert len(key) >= 64
    assert desk_secret_key(path) == key
    assert path.stat().st_mode & 0o077 == 0
