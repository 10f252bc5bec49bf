"""How fast the check-in form's answers come while somebody types, on the demo shop.

Run it with ``python -m bench.live``: a database of its own in a temporary directory, every instrument
of the demo shop, three answers each (one box filled, half of them, all of them, some places read
twice), through URL, middleware, view and template in this process, without the network. The first
round warms up and is not counted.
"""

from __future__ import annotations

import os
import statistics
import tempfile
import time
from uuid import uuid4

ROUNDS = 3


def figures_of(instrument) -> list[tuple[str, str]]:
    """What is typed: the newest readings over again, a little off, in the order of the form."""
    from measurements.check_ins.forms import CheckInForm
    from measurements.check_ins.views import last_lengths

    last = last_lengths(instrument)
    typed = {name: f"{value + 0.03:.2f}" for name, value in last.items()}
    typed |= {name: f"{text} {text}" for name, text in typed.items() if "saddle" in name}
    typed |= {"humidity_pct": "47", "temperature_c": "21"}
    form = CheckInForm(instrument=instrument)
    return [(name, typed[name]) for name in form.reading_names() if name in typed]


def measure() -> tuple[list[float], list[float]]:
    """Milliseconds of each answer, by the clock and by this process's own work."""
    from django.test import Client
    from django.urls import reverse
    from django.utils import timezone

    from instruments.models import Instrument
    from shop.models import User

    client = Client(headers={"HX-Request": "true", "Host": "localhost"})
    client.force_login(User.objects.get(username="tech"))
    today = timezone.localdate().isoformat()
    clock, work = [], []
    for turn in range(ROUNDS + 1):
        for instrument in Instrument.objects.order_by("tag"):
            address = reverse("check-in-preview", kwargs={"tag": instrument.tag})
            always = {"uuid": str(uuid4()), "day": today, "stage": "received", "at_pitch": "on"}
            typed = figures_of(instrument)
            for count in (1, len(typed) // 2, len(typed)):
                filled = always | {"relief_press": "1-joint"} | dict(typed[:count])
                began, worked = time.perf_counter(), time.process_time()
                response = client.post(address, filled)
                took = time.perf_counter() - began, time.process_time() - worked
                assert response.status_code == 200, response.status_code
                if turn:
                    clock.append(1000 * took[0])
                    work.append(1000 * took[1])
    return clock, work


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        os.environ["DATABASE_URL"] = f"sqlite:///{folder}/live.sqlite3"
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
        import django
        from django.core.management import call_command

        django.setup()
        for command in ("migrate", "load_demo", "recompute_outlooks"):
            call_command(command, verbosity=0)
        for words, each in zip(("by the clock", "own work"), measure(), strict=True):
            points = statistics.quantiles(each, n=20)
            print(
                f"{len(each)} answers, {words}: median {points[9]:.1f} ms, "
                f"95 % under {points[18]:.1f} ms, slowest {max(each):.1f} ms"
            )


if __name__ == "__main__":
    main()
