"""The demo shop grown large: thousands of instruments with readings, owners and outlooks."""

from __future__ import annotations

import json
import sys

FIRST_KEY = 1_000  # the demo's own rows lie below
CUSTOMERS = 4_000
CLIENTS = 32


def fill(instruments: int, readings: int) -> dict[str, list[str]]:
    """Grow the database in use; returns what clients need: sessions, tags, keys and words to look for."""
    from django.core.management import call_command
    from django.core.management.color import no_style
    from django.db import connection, transaction
    from django.db.models import F
    from django.db.models.functions import Mod

    from bench import fleet_db
    from instruments.models import Instrument
    from measurements.models import CheckIn
    from shop.models import Customer

    for words in (("migrate",), ("load_demo",)):
        call_command(*words, verbosity=0)
    for start in range(0, instruments, fleet_db.FILL):
        with transaction.atomic():
            count = min(fleet_db.FILL, instruments - start)
            fleet_db._fill_some(FIRST_KEY + start, count, readings)
    grown = Instrument.objects.filter(pk__gt=FIRST_KEY)
    with transaction.atomic():
        Customer.objects.bulk_create(
            Customer(pk=FIRST_KEY + n, code=f"B{n:07d}", name=f"Customer {n}", phone=f"0{n:06d}")
            for n in range(CUSTOMERS)
        )
        grown.update(customer_id=FIRST_KEY + Mod(F("pk"), CUSTOMERS), maker="Tarnbeck")
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(
            no_style(), [Instrument, CheckIn, Customer]
        ):
            cursor.execute(statement)
        cursor.execute("ANALYZE")
    call_command("recompute_outlooks", verbosity=0)
    return _for_clients(list(grown.order_by("pk").values_list("pk", "tag")))


def _for_clients(grown: list[tuple[int, str]]) -> dict[str, list[str]]:
    from django.conf import settings
    from django.test import Client

    from instruments.models import Instrument
    from measurements.models import CheckIn
    from shop.models import User

    sessions = []
    owner = User.objects.get(username="owner")
    for _ in range(CLIENTS):
        client = Client()
        client.force_login(owner)
        sessions.append(client.cookies[settings.SESSION_COOKIE_NAME].value)
    few = grown[:: max(1, len(grown) // 997)]
    return {
        "sessions": sessions,
        "keys": [str(key) for key, _ in few],
        "tags": [tag for _, tag in few],
        "counts": [str(Instrument.objects.count()), str(CheckIn.objects.count())],
    }


if __name__ == "__main__":
    import django

    django.setup()
    print(json.dumps(fill(int(sys.argv[1]), int(sys.argv[2]))))
