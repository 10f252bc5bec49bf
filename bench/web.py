"""How many a web server of two processes serves, and how fast each page is beside a bare view.

Run it with ``python -m bench.web``, or ``make bench-web`` for both databases. The demo shop is grown to
thousands of instruments, then clients read and write at once for a while, then one asks for each page
alone. Server time is what the server's own log says, and beside it the processor's, which other work on
the machine does not stretch. Load generator and server share the machine.

There are three yardsticks, through the same middleware. The bare view makes one query by primary key, for
nobody, without a session. "Signed in" is that view for a person: the session, the person and what they may
are read first, as for every page of the shop. "Empty page" adds the shop's name, head and foot: no page
of the app can come below that, whatever stands on it.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from contextlib import closing
from pathlib import Path

from bench.web_clients import MIX, YARDSTICKS, Client, Taken, bare_only, mixed, together

WORKERS = 2
STARTS_WITHIN_S = 60
BARE_S = 8.0
#: Pages measured alone, with the name of their route in the log.
ALONE = {
    "bare view": "bare",
    **YARDSTICKS,
    "board": "due",
    "instrument": "instrument",
    "check-in form": "check-in-add",
    "check-in saved": "check-in-add",
    "search": "",
    "calls": "calls",
    "today": "today",
}


def main() -> int:
    """Fill, serve, measure and print; 1 if any request went wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--instruments", type=int, default=10_000)
    parser.add_argument("--readings", type=int, default=12)
    parser.add_argument("--clients", type=int, default=32)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--alone", type=int, default=40, help="Requests a page when alone.")
    parser.add_argument("--here", action="store_true", help="In the database of DATABASE_URL.")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        environment = _environment(Path(place), here=arguments.here)
        known = _fill(environment, arguments.instruments, arguments.readings)
        instruments, check_ins = (int(count) for count in known["counts"])
        database = environment["DATABASE_URL"].partition(":")[0]
        print(
            f"\n{database}: {instruments:,} instruments, {check_ins:,} check-ins; {WORKERS} workers"
        )
        log = Path(place) / "log"
        port = _free_port()
        server = _serve(environment, port, log)
        try:
            _wait(port, log)
            faults = _measure(port, log, known, arguments)
        finally:
            os.killpg(server.pid, signal.SIGTERM)
            server.wait(30)
    return 1 if faults else 0


def _environment(place: Path, *, here: bool) -> dict[str, str]:
    environment = dict(os.environ)
    if not here:
        environment["DATABASE_URL"] = f"sqlite:///{place / 'web.sqlite3'}"
    return environment | {
        "DJANGO_SETTINGS_MODULE": "bench.web_settings",
        "SADDLEROOM_SECRET_KEY": "for the length of one measurement " * 2,
        "SADDLEROOM_PHOTOS": str(place / "photos"),
        "SADDLEROOM_IMPORTS": str(place / "imports"),
        "SADDLEROOM_LOG": "json",
    }


def _fill(environment: dict[str, str], instruments: int, readings: int) -> dict[str, list[str]]:
    words = [sys.executable, "-m", "bench.web_fill", str(instruments), str(readings)]
    done = subprocess.run(words, env=environment, check=True, stdout=subprocess.PIPE)  # noqa: S603
    return json.loads(done.stdout.splitlines()[-1])


def _free_port() -> int:
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def _serve(environment: dict[str, str], port: int, log: Path) -> subprocess.Popen[bytes]:
    words = [sys.executable, "manage.py", "serve", "--port", str(port), "--workers", str(WORKERS)]
    with log.open("wb") as out:
        return subprocess.Popen(  # noqa: S603
            words, env=environment, stdout=out, stderr=subprocess.STDOUT, start_new_session=True
        )


def _wait(port: int, log: Path) -> None:
    late = time.monotonic() + STARTS_WITHIN_S
    while time.monotonic() < late:
        with closing(socket.socket()) as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.1)
    raise SystemExit(f"The server did not start:\n{log.read_text()}")


def _measure(
    port: int, log: Path, known: dict[str, list[str]], arguments: argparse.Namespace
) -> int:
    clients = [Client(port, known, number) for number in range(arguments.clients)]
    together(clients, 2.0, bare_only)  # both processes have imported everything
    for page in MIX:
        for client in clients[: 2 * WORKERS]:
            client.act(page)
    taken, took = together(clients, arguments.seconds, mixed)
    bare, bare_took = together(clients, BARE_S, bare_only)
    print(f"{len(clients)} clients at once for {took:.0f} s, reading and writing:")
    _print_load(taken, took)
    print("The bare view alone, by as many clients:")
    _print_load(bare, bare_took)
    faults = taken.faults + bare.faults
    print("No error." if not faults else f"Errors: {dict(faults)}")
    _print_alone(clients[0], log, arguments.alone)
    return sum(faults.values()) + sum(clients[0].taken.faults.values())


def _print_load(taken: Taken, took: float) -> None:
    everything = [second for seconds in taken.seconds.values() for second in seconds]
    for page, seconds in [*sorted(taken.seconds.items()), ("all", everything)]:
        print(
            f"  {page:<18}{len(seconds):>6} requests {len(seconds) / took:>7.1f} /s   median "
            f"{1000 * statistics.median(seconds):>6.0f} ms   95 % under {1000 * _p95(seconds):>6.0f} ms"
        )


def _p95(values: list[float]) -> float:
    return statistics.quantiles(values, n=20)[-1] if len(values) > 1 else values[0]


def _print_alone(client: Client, log: Path, count: int) -> None:
    """Each page in turn by one client: the server's own time, beside the bare view's."""
    client.taken = Taken()
    times: dict[str, list[float]] = defaultdict(list)
    work: dict[str, list[float]] = defaultdict(list)
    queries: dict[str, set[int]] = defaultdict(set)
    for turn in range(count):
        for page in ALONE:
            before = log.stat().st_size
            client.act(page)
            for line in _lines(log, before):
                saved = page != "check-in saved" or line["method"] == "POST"
                if turn and line["route"] == (ALONE[page] or line["route"]) and saved:
                    times[page].append(line["ms"])
                    work[page].append(line["cpu_ms"])
                    queries[page].add(line["queries"])
    _print_pages(times, work, queries, count - 1)


def _print_pages(
    times: dict[str, list[float]],
    work: dict[str, list[float]],
    queries: dict[str, set[int]],
    count: int,
) -> None:
    """Server time, the processor's, and how many times that of each yardstick the latter is."""
    print(
        f"One client, one page after the other, {count} times; server time by its own log, in ms."
    )
    yardsticks = ("bare view", *YARDSTICKS)
    print(f"{'times the processor time of':>77}: {'  '.join(yardsticks)}")
    for page, each in times.items():
        own = statistics.median(work[page])
        compared = [own / statistics.median(work[yardstick]) for yardstick in yardsticks]
        print(
            f"  {page:<15} median {statistics.median(each):>6.1f}   95 % under {_p95(each):>6.1f}   "
            f"processor {own:>6.2f}   queries {_span(queries[page]):<8} "
            + "  ".join(
                f"{times:>{len(name)}.1f}" for name, times in zip(yardsticks, compared, strict=True)
            )
        )


def _lines(log: Path, start: int) -> list[dict]:
    """The log's lines from a byte on; the answer may be here a moment before its line."""
    for _ in range(200):
        with log.open("rb") as file:
            file.seek(start)
            found = [
                json.loads(line) for line in file if line.startswith(b"{") and line.endswith(b"\n")
            ]
        if found:
            return [line for line in found if "ms" in line]
        time.sleep(0.005)
    return []


def _span(numbers: set[int]) -> str:
    least, most = min(numbers), max(numbers)
    return str(least) if least == most else f"{least} to {most}"


if __name__ == "__main__":
    sys.exit(main())
