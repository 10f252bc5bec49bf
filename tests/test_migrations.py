"""A database of the first release, with rows in it, brought up to this one on SQLite and on PostgreSQL."""

from collections.abc import Iterator
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

import pytest
from django.apps import apps as apps_now
from django.db import connections
from django.db.migrations.executor import MigrationExecutor

from instruments.models import Instrument
from measurements.models import CheckIn, Outlook, ServiceReport, Work
from shop.models import Customer, ShopProfile, User

FIRST_RELEASE = [
    ("shop", "0002_roles"),
    ("instruments", "0002_relations"),
    ("measurements", "0003_shop_prior"),
    ("axes", "0010_accessattemptexpiration"),
]
OLD = "first_release"
MOMENT = datetime(2024, 3, 18, 9, 30, 15, 250000, tzinfo=UTC)
FIRST, SECOND = UUID(int=1, version=4), UUID(int=2, version=4)
#: Tables of Django's that the app does not use.
NEVER_FILLED = {"auth.Permission", "auth.Group_permissions", "shop.User_user_permissions"}
Rows = dict[str, list[dict[str, Any]]]


@pytest.fixture(scope="module")
def old_database(django_db_setup, django_db_blocker, tmp_path_factory) -> Iterator[str]:
    """The alias of an empty database, of the kind that the tests are run on."""
    kind = connections["default"].vendor
    facts = {**connections["default"].settings_dict}
    # Not the tests' own, and another one for each process that runs tests.
    facts["NAME"] = (
        str(tmp_path_factory.mktemp("old") / OLD) if kind == "sqlite" else f"{facts['NAME']}_{OLD}"
    )
    with django_db_blocker.unblock():
        if kind == "postgresql":
            _by_postgresql(f'CREATE DATABASE "{facts["NAME"]}"')
        connections.settings[OLD] = facts
        try:
            yield OLD
        finally:
            connections[OLD].close()
            del connections[OLD], connections.settings[OLD]
            if kind == "postgresql":
                _by_postgresql(f'DROP DATABASE "{facts["NAME"]}"')


def _by_postgresql(command: str) -> None:
    with connections["default"]._nodb_cursor() as cursor:
        cursor.execute(command)


def migrate(alias: str, targets: list[tuple[str, str]] | None = None) -> Any:
    """Migrate to some targets, or to the newest; the models as they are then."""
    executor = MigrationExecutor(connections[alias])
    executor.migrate(targets or executor.loader.graph.leaf_nodes())
    executor.loader.build_graph()
    return executor.loader.project_state(targets or executor.loader.graph.leaf_nodes()).apps


def fill(old: Any, alias: str) -> None:
    """What a shop had entered with the first release: at least one row in each of its tables."""

    def add(app: str, table: str, /, **facts: Any) -> Any:
        return old.get_model(app, table)._default_manager.using(alias).create(**facts)

    def add_kept(app: str, table: str, /, **facts: Any) -> Any:
        """A row of a table whose changes are kept, and its first version among them."""
        row = add(app, table, **facts)
        values = {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields}
        made = {"history_date": MOMENT, "history_type": "+", "history_user": person}
        add(app, f"Historical{table}", **values, **made)
        return row

    person = add("shop", "User", username="mara", first_name="Mara", password="x", unit="in")
    person.groups.add(old.get_model("auth", "Group").objects.using(alias).get(name="owner"))
    customer = add_kept("shop", "Customer", code="ABCD2345", name="Åse Ó Brien", phone="555 0100")
    add_kept("shop", "ShopProfile", pk=1, name="Quayside", saddle_floor_mm=1.7)
    built = {"tag": "QS-0001", "maker": "Tarnbeck", "built_year": 1998, "scale_length_mm": 645.2}
    instrument = add_kept("instruments", "Instrument", customer=customer, **built)
    joint = {"kind": "tilting", "bolt_arm_mm": 70.0, "thread_pitch_mm": 1.0, "tilt_now_deg": 0.6139}
    joint |= {"tilt_max_deg": 2.0, "shims_mm": [0.25, 0.5]}
    add_kept("instruments", "NeckJoint", instrument=instrument, **joint)
    _fill_measurements(add, instrument, person)
    _fill_sign_ins(add)


def _fill_sign_ins(add: Any) -> None:
    """Attempts to sign in, as they were kept before names were digested and secrets left out."""
    tried = {"username": "mara", "ip_address": "203.0.113.7", "path_info": "/sign-in/"}
    typed = "username=mara\npassword=rosewood-and-rain"
    attempt = add(
        "axes", "AccessAttempt", post_data=typed, get_data="", failures_since_start=1, **tried
    )
    add("axes", "AccessAttemptExpiration", access_attempt=attempt, expires_at=MOMENT)
    add("axes", "AccessLog", **tried)
    add("axes", "AccessFailureLog", **tried)


def _fill_measurements(add: Any, instrument: Any, person: Any) -> None:
    readings = {"relief_mm": 0.21, "bridge_rise_mm": 0.437, "saddle_bass_mm": 3.05}
    wrong = add(
        "measurements",
        "CheckIn",
        uuid=FIRST,
        instrument=instrument,
        measured_at=MOMENT,
        measured_by=person,
        voided_at=MOMENT,
        voided_by=person,
        void_reason="read off the wrong end",
        **readings | {"bridge_rise_mm": 4.37},
    )
    right = add(
        "measurements",
        "CheckIn",
        uuid=SECOND,
        instrument=instrument,
        measured_at=MOMENT,
        measured_by=person,
        replaces=wrong,
        humidity_pct=47.5,
        gauge="feeler A",
        as_typed={"unit": "in", "bridge_rise_mm": '11/64"'},
        notes="buzz at 9\n“loud”",
        **readings,
    )
    for fret, side, action_mm in ((1, "bass", 0.5), (12, "bass", 2.34), (12, "treble", 1.88)):
        place = {"check_in": right, "fret": fret, "side": side}
        add("measurements", "ActionReading", action_mm=action_mm, **place)
    turned = {"turns": 0.75, "tilt_from_deg": 0.0, "tilt_to_deg": 0.6139}
    done = {"instrument": instrument, "done_at": MOMENT, "done_by": person}
    add("measurements", "Work", kind="joint", **turned, **done)
    made = {"model_version": "1", "fingerprint": "0" * 64, "as_of": date(2024, 3, 18)}
    add(
        "measurements",
        "Outlook",
        instrument=instrument,
        computed_at=MOMENT,
        reset_likely=date(2036, 5, 1),
        state="watch",
        basis={"weights": [0.25, 0.75]},
        **made,
    )
    content = {"tag": "QS-0001", "readings": [["Relief", "0.21 mm"]]}
    issued = {"instrument": instrument, "issued_at": MOMENT, "issued_by": person}
    add("measurements", "ServiceReport", number=7, content=content, **issued)
    learnt = {"learnt_at": MOMENT, "as_of": date(2024, 3, 18), "instruments": 12}
    add("measurements", "ShopPrior", pk=1, shop={"rate": [0.1, 0.2]}, **learnt)


def contents(apps: Any, alias: str) -> Rows:
    """Every row of every table of ours, column by column."""
    return {
        model._meta.label: list(model._base_manager.using(alias).order_by("pk").values())
        for model in apps.get_models(include_auto_created=True)
        if model._meta.app_label in ("shop", "instruments", "measurements", "auth")
    }


@pytest.fixture(scope="module")
def brought_up(old_database) -> tuple[Rows, Rows]:
    """What the old database held, and what it holds since it was brought up to this release."""
    old = migrate(old_database, FIRST_RELEASE)
    fill(old, old_database)
    before = contents(old, old_database)
    return before, contents(migrate(old_database), old_database)


def test_rows_of_the_first_release_are_all_there_in_this_one(brought_up):
    before, after = brought_up
    assert {label for label, rows in before.items() if not rows} == NEVER_FILLED
    for label, rows in before.items():
        assert label in after
        assert len(after[label]) == len(rows)
        for row, was in zip(after[label], rows, strict=True):
            kept = {name: row[name] for name in was if name in row}
            assert kept == was, label


def test_they_mean_in_this_release_what_they_meant_in_the_first(brought_up, old_database):

    person = User.objects.using(old_database).get()
    assert list(person.groups.using(old_database).values_list("name", flat=True)) == ["owner"]
    instrument = Instrument.objects.using(old_database).get()
    assert instrument.measuring_order == []
    assert (instrument.version, instrument.customer.version) == (0, 0)
    assert instrument.joint.shims_mm == [0.25, 0.5]
    assert instrument.history.using(old_database).get().history_user == person
    assert not instrument.customer.no_reminders
    profile = ShopProfile.objects.using(old_database).get()
    assert (profile.saddle_floor_mm, profile.hygrometer_reads_high_pct) == (1.7, 0.0)

    standing = CheckIn.objects.using(old_database).standing().get()
    assert standing.uuid == SECOND
    assert (standing.measured_at, standing.bridge_rise_mm) == (MOMENT, 0.437)
    assert (standing.bridge_rise_count, standing.bridge_rise_spread_mm) == (1, None)
    assert (standing.repeats_mm, standing.imported_in) == ({}, None)
    assert (standing.gauge, standing.notes) == ("feeler A", "buzz at 9\n“loud”")
    assert standing.as_typed == {"unit": "in", "bridge_rise_mm": '11/64"'}
    assert standing.replaces.void_reason == "read off the wrong end"
    assert standing.action_readings.count() == 3
    work = Work.objects.using(old_database).get()
    assert (work.turns, work.tilt_to_deg, work.imported_in) == (0.75, 0.6139, None)
    assert Outlook.objects.using(old_database).get().reset_likely == date(2036, 5, 1)
    report = ServiceReport.objects.using(old_database).get()
    assert (report.number, report.revision) == (7, 1)
    assert report.content["readings"] == [["Relief", "0.21 mm"]]


def test_what_was_typed_to_sign_in_is_forgotten(brought_up, old_database):
    for table in apps_now.get_app_config("axes").get_models():
        assert not table._default_manager.using(old_database).exists(), table


def test_the_rows_keep_every_rule_of_this_release(brought_up, old_database):
    checked = 0
    for model in (Customer, Instrument, CheckIn, Work, ServiceReport, ShopProfile):
        for row in model._default_manager.using(old_database):
            row.clean_fields(exclude=["password"])
            for constraint in model._meta.constraints:
                constraint.validate(model, row, using=old_database)
            checked += 1
    assert checked == 7


def test_the_newest_migrations_make_the_tables_that_the_models_have(brought_up, old_database):
    connection = connections[old_database]
    with connection.cursor() as cursor:
        there = set(connection.introspection.table_names(cursor))
        for model in apps_now.get_models(include_auto_created=True):
            assert model._meta.db_table in there
            columns = connection.introspection.get_table_description(cursor, model._meta.db_table)
            assert {column.name for column in columns} == {
                field.column for field in model._meta.local_concrete_fields
            }
