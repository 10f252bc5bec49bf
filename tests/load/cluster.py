"""A PostgreSQL server of a test's own, which may be crashed; what it has written is forced to the disk."""

import getpass
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Cluster:
    """Where its programs and files are, and its port."""

    programs: Path
    place: Path
    port: int

    @property
    def url(self) -> str:
        return f"postgres://shop@127.0.0.1:{self.port}/postgres"

    def run(self, program: str, *options: str) -> None:
        command = [str(self.programs / program), "--pgdata", str(self.place / "data"), *options]
        if getpass.getuser() == "root":  # the server refuses to run as root
            command = ["runuser", "-u", "postgres", "--", *command]
        subprocess.run(command, cwd="/", stdout=subprocess.DEVNULL, check=True)

    def start(self) -> None:
        place = f"-c listen_addresses=127.0.0.1 -c unix_socket_directories={self.place}"
        log = str(self.place / "log")
        self.run("pg_ctl", "--wait", "--log", log, "--options", f"-p {self.port} {place}", "start")

    def crash(self) -> None:
        """Every process of it ends at once, without a word; it recovers when it is started again."""
        self.run("pg_ctl", "--mode", "immediate", "stop")


def _programs() -> Path:
    found = shutil.which("pg_ctl")
    if found:
        return Path(found).parent
    releases = Path("/usr/lib/postgresql").glob("*/bin")
    return max(releases, key=lambda place: float(place.parent.name))


@contextmanager
def own_cluster() -> Iterator[Cluster]:
    """A new cluster, gone afterwards."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    place = Path(tempfile.mkdtemp(prefix="pg-"))  # short: the name of a socket has its limit
    if getpass.getuser() == "root":
        shutil.chown(place, "postgres")
    cluster = Cluster(_programs(), place, port)
    people = ("--auth", "trust", "--username", "shop")
    try:
        cluster.run("initdb", *people, "--encoding", "UTF8", "--locale", "C.UTF-8")
        cluster.start()
        yield cluster
    finally:
        with suppress(subprocess.CalledProcessError):  # it may be down
            cluster.crash()
        shutil.rmtree(place, ignore_errors=True)
