"""Queries compiled once: their slots, their conversions, and a table's only row."""

import gc
import threading
import weakref
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime

import pytest
from django.db import connection
from django.db.models import DateTimeField

from instruments.models import NeckJoint
from measurements.models import CheckIn, ShopPrior
from shop.models import ShopProfile
from shop.statements import Slot, Statement, only_row
from tests.factories import CheckInFactory, NeckJointFactory, ShopProfileFactory

pytestmark = pytest.mark.django_db


def test_a_compiled_query_answers_for_whatever_is_put_into_its_slots(django_assert_num_queries):
    for year in (2010, 2015, 2020):
        CheckInFactory(measured_at=datetime(year, 5, 1, tzinfo=UTC), bridge_rise_mm=year / 1000)
    before = Slot("before", DateTimeField())
    statement = Statement.of(
        CheckIn.objects.filter(measured_at__lt=before)
        .order_by("measured_at")
        .values_list("bridge_rise_mm")
    )
    for moment, found in ((2010, []), (2011, [2.010]), (2030, [2.010, 2.015, 2.020])):
        with django_assert_num_queries(1):
            rows = statement.fetch(before=datetime(moment, 5, 1, tzinfo=UTC))
        assert [rise for (rise,) in rows] == found


def test_converted_rows_are_those_of_the_queryset():
    joint = NeckJointFactory(shims_mm=[0.25, 0.5], one_way=False)
    wanted = NeckJoint.objects.filter(pk=joint.pk).values_list("kind", "shims_mm", "one_way")
    statement = Statement.of(wanted)
    assert [tuple(row) for row in statement.converted(statement.fetch())] == list(wanted)


def test_the_only_row_is_the_stored_one_as_it_stands():
    assert only_row(ShopProfile) is None
    assert only_row(ShopPrior) is None
    profile = ShopProfileFactory(bridge_rise_u_mm=0.11)
    found = only_row(ShopProfile)
    assert found == profile
    for field in ShopProfile._meta.concrete_fields:
        assert getattr(found, field.attname) == getattr(ShopProfile.current(), field.attname)
    ShopProfile.objects.update(bridge_rise_u_mm=0.3)
    assert only_row(ShopProfile).bridge_rise_u_mm == 0.3


def _in_a_thread(act):
    """What ``act`` gives in a thread with a connection of its own, closed after."""

    def run():
        try:
            return act()
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as thread:
        return thread.submit(run).result(timeout=30)


@pytest.mark.django_db(transaction=True)
def test_a_statement_compiled_in_one_thread_keeps_nothing_of_it_and_serves_the_others():
    moments = [datetime(2020, 5, day, 9, 30, tzinfo=UTC) for day in (1, 2, 3)]
    for moment in moments:
        CheckInFactory(measured_at=moment)
    wanted = CheckIn.objects.order_by("measured_at").values_list("measured_at", "uuid", "as_typed")
    expected = [tuple(row) for row in wanted]

    def compile_and_use():
        statement = Statement.of(wanted)
        assert [tuple(row) for row in statement.converted(statement.fetch())] == expected
        return statement, weakref.ref(connection._connections["default"])

    statement, its_connection = _in_a_thread(compile_and_use)
    gc.collect()
    assert its_connection() is None

    together = threading.Barrier(4)

    def use():
        together.wait(timeout=20)
        return [[tuple(row) for row in statement.converted(statement.fetch())] for _ in range(20)]

    with ThreadPoolExecutor(4) as threads:
        found = list(threads.map(lambda _: _in_a_thread(use), range(4)))
    assert found == [[expected] * 20] * 4
