"""Shared by all tests: quick passwords, plain static files, people signed in by role."""

import pytest
from django.contrib.auth.models import Group
from django.db import connections
from django.db.models.signals import post_migrate
from django.dispatch import receiver
from django.test import Client
from django.utils import translation
from factory.django import DjangoModelFactory
from hypothesis import HealthCheck
from hypothesis import settings as drawing

from shop.models import User
from shop.roles import ROLES
from tests import factories
from tests.factories import UserFactory

# How fast a machine is says nothing about the app.
drawing.register_profile("any machine", deadline=None, suppress_health_check=[HealthCheck.too_slow])
drawing.load_profile("any machine")


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix, tmp_path_factory
) -> None:
    """SQLite in a file, as in a shop: in memory its threads share one connection and lock each other out."""
    database = connections.settings["default"]
    if database["ENGINE"] == "django.db.backends.sqlite3":
        name = tmp_path_factory.mktemp("database") / "test.sqlite3"
        database["TEST"]["NAME"] = str(name)
        # Nothing of a test need outlive the machine's power.
        database["OPTIONS"]["init_command"] = "PRAGMA journal_mode=WAL; PRAGMA synchronous=OFF;"


@receiver(post_migrate)
def _roles_again(sender, **_: object) -> None:
    """A test that commits is followed by a flush, which takes the roles that a migration made."""
    if sender.name == "django.contrib.auth":
        for role in ROLES:
            Group.objects.get_or_create(name=role)


@pytest.fixture(autouse=True)
def _quick_settings(settings, tmp_path_factory):
    translation.activate(settings.LANGUAGE_CODE)  # a page asked for in another leaves that active
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.AXES_ENABLED = False  # tests of signing in turn it on
    settings.MEDIA_ROOT = tmp_path_factory.getbasetemp() / "photos"


@pytest.fixture(autouse=True)
def _count_from_the_start() -> None:
    """Every test's first reading is of the same day, whatever ran before it."""
    for made in vars(factories).values():
        if isinstance(made, type) and issubclass(made, DjangoModelFactory):
            made.reset_sequence(force=True)


@pytest.fixture
def tech(db) -> User:
    return UserFactory(username="tech", role="technician")


@pytest.fixture
def owner(db) -> User:
    return UserFactory(username="owner", role="owner")


@pytest.fixture
def counter(db) -> User:
    return UserFactory(username="counter", role="counter")


def signed_in(user: User) -> Client:
    client = Client()
    client.force_login(user)
    return client


@pytest.fixture
def at_bench(tech) -> Client:
    """A browser with the technician signed in."""
    return signed_in(tech)


@pytest.fixture
def at_desk(owner) -> Client:
    """A browser with the owner signed in."""
    return signed_in(owner)


@pytest.fixture
def at_counter(counter) -> Client:
    """A browser with the counter's person signed in."""
    return signed_in(counter)
