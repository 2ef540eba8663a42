"""The pages as ``countersign serve`` runs them, in a process that can be killed."""

import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import httpx

COMMAND = [sys.executable, "-c", "from countersign.cli import run; run()"]


def environment(folder: Path) -> dict[str, str]:
    """For commands whose ledger, settings and people lie in ``folder``."""
    return {
        **os.environ,
        "COUNTERSIGN_LEDGER": str(folder / "ledger.sqlite3"),
        "XDG_CONFIG_HOME": str(folder / "config"),
    }


class Serving:
    """One server on a port of its own; it can be killed, and begun again on the same port."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port: int = probe.getsockname()[1]
        self.address = f"http://127.0.0.1:{self.port}"
        self.begin()

    def begin(self) -> None:
        self.process = subprocess.Popen(
            [*COMMAND, "serve", "--port", str(self.port)],
            env=environment(self.folder),
            stdout=subprocess.DEVNULL,
        )
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            try:
                httpx.get(f"{self.address}/sign-in")
                return
            except httpx.TransportError:
                assert self.process.poll() is None
                time.sleep(0.05)
        raise AssertionError("the server does not answer")

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
