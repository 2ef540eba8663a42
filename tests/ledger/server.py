"""A real PostgreSQL server in a folder of its own, which does not run as root."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_USER = "postgres"


def programs() -> Path | None:
    """The folder of the server's programs, where Debian or the PATH has them."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), reverse=True)
    on_path = shutil.which("initdb")
    return found[0].parent if found else Path(on_path).resolve().parent if on_path else None


@contextmanager
def running() -> Iterator[str]:
    """Start a server; gives the address of its database. Only its socket listens."""
    bin_ = programs()
    assert bin_ is not None
    folder = Path(tempfile.mkdtemp(prefix="cs-pg-"))  # sockets need short paths
    as_root = os.geteuid() == 0

    def call(*arguments: object) -> None:
        before = ["runuser", "-u", _USER, "--"] if as_root else []
        command = [*before, *map(str, arguments)]
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr + done.stdout

    if as_root:
        shutil.chown(folder, _USER)
    data = folder / "data"
    try:
        call(bin_ / "initdb", "-D", data, "-U", _USER, "-A", "trust", "-E", "UTF8", "--no-sync")
        options = f"-c listen_addresses='' -c unix_socket_directories={folder}"
        log = folder / "log"
        call(bin_ / "pg_ctl", "-D", data, "-l", log, "-w", "-o", options, "start")
        try:
            yield f"postgresql://{_USER}@/postgres?host={folder}"
        finally:
            call(bin_ / "pg_ctl", "-D", data, "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
