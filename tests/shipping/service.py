"""Prove that the systemd unit works: ``python -m tests.shipping.service`` (root; Linux).

Needs systemd-nspawn, mmdebstrap, podman and openssl, and the image that ``tests.shipping.container
--debian`` built. A small Debian gets the program out of that image and the rest as
``docs/ward_server.rst`` says; it is booted with systemd, which starts the unit. Then, from outside:
a sign-in with a PIN over HTTPS, a look at a kept case, a look at the rights of the process, the
process killed and answering again, an end in order, and the ledger checked. Booted again with the
guide's settings for encryption, it begins an encrypted ledger. ``--base TAR`` takes a system made
before (``mmdebstrap --include=systemd,python3,ca-certificates bookworm TAR``).
"""

import argparse
import os
import re
import shutil
import signal
import socket
import ssl
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
from tests.shipping.container import IMAGE, PIN, certificate_in, first_page, hold, look
from tests.shipping.running import run

DEPLOY = Path(__file__).parents[2] / "deploy"
PORT = 8734  # as the unit has it
SERVED = b"/opt/countersign/bin/countersign\0serve\0"
STATE = "/var/lib/countersign"
NO_RIGHTS = {"CapEff": "0" * 16, "CapBnd": "0" * 16, "NoNewPrivs": "1", "Seccomp": "2"}


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    asked.add_argument("--base", type=Path, metavar="TAR", help="A Debian made before.")
    asked.add_argument("--image", default=IMAGE, help="Where the program is taken from.")
    given = asked.parse_args()
    # a machine that had to be killed may write a moment longer
    with tempfile.TemporaryDirectory(prefix="service-", ignore_cleanup_errors=True) as name:
        root = Path(name) / "root"
        _system(root, given.base)
        _program(root, given.image)
        certificate = _set_up(root)
        case = _kept_case(root)
        trusted = ssl.create_default_context(cafile=str(certificate))
        with _booted(root):
            look(trusted, PORT, case)
            first = _process()
            _hold_rights(first)
            os.kill(first, signal.SIGKILL)
            look(trusted, PORT, case)
            hold(_process() != first, "the killed process still answers")
            print("killed, started again by systemd, the case is listed")
        journal = run("journal", ["journalctl", "-D", str(root / "var/log/journal"), "-o", "cat"])
        hold("countersign.service: Deactivated successfully" in journal, f"its end:\n{journal}")
        print(_as_user(root, "ledger check", "ledger", "check").splitlines()[0])
        _encrypted(root, trusted)
    return 0


def _system(root: Path, base: Path | None) -> None:
    packages = "systemd,python3,ca-certificates"
    made = base or root.with_suffix(".tar")
    if base is None:
        command = [
            "mmdebstrap",
            "--variant=minbase",
            f"--include={packages}",
            "bookworm",
            str(made),
        ]
        run("system of Debian packages", command)
    root.mkdir()
    # devices are what nspawn makes of them
    run("unpacked", ["tar", "-C", str(root), "--exclude=./dev/*", "-xf", str(made)])
    (root / "var/log/journal").mkdir(parents=True, exist_ok=True)  # so that it is kept


def _program(root: Path, image: str) -> None:
    held = run("container", ["podman", "create", image]).strip()
    try:
        shutil.rmtree(root / "opt/countersign", ignore_errors=True)
        run("program", ["podman", "cp", f"{held}:/opt/countersign", str(root / "opt")])
    finally:
        run("container removed", ["podman", "rm", held])


def _set_up(root: Path) -> Path:
    """As docs/ward_server.rst says; gives the certificate, outside."""
    users = root / "usr/lib/sysusers.d/countersign.conf"
    shutil.copy(DEPLOY / "countersign.sysusers", users)
    units = root / "etc/systemd/system"
    shutil.copy(DEPLOY / "countersign.service", units)
    wants = units / "multi-user.target.wants"
    wants.mkdir(exist_ok=True)
    (wants / "countersign.service").unlink(missing_ok=True)
    (wants / "countersign.service").symlink_to("/etc/systemd/system/countersign.service")
    run("user", ["chroot", str(root), "systemd-sysusers"])
    place = root / "etc/countersign"
    place.mkdir(exist_ok=True)
    key, certificate = certificate_in(place)
    for each in (key, certificate):
        each.chmod(0o600)
    words = ("people", "add", "--role", "circulator", "--initials", "CD")
    command = ["chroot", str(root), "install", "-d", "-m", "700", "-o", "countersign"]
    run("folder", [*command, "-g", "countersign", STATE])
    _as_user(root, "people add", *words, typed=f"{PIN}\n{PIN}\n")
    return certificate


def _encrypted(root: Path, trusted: ssl.SSLContext) -> None:
    """A second start with the key handed over by systemd, and another ledger."""
    program = [*_nspawn(root), "--pipe", "/opt/countersign/bin/countersign"]
    run("key", [*program, "ledger", "key", "/etc/countersign/ledger.key"])
    added = root / "etc/systemd/system/countersign.service.d"
    added.mkdir()
    (added / "key.conf").write_text(
        "[Service]\n"
        "LoadCredential=ledger.key:/etc/countersign/ledger.key\n"
        "Environment=COUNTERSIGN_KEY=%d/ledger.key\n"
        f"Environment=COUNTERSIGN_LEDGER={STATE}/sealed.sqlite3\n"
    )
    address = f"https://127.0.0.1:{PORT}"
    with (
        _booted(root),
        httpx.Client(base_url=address, verify=trusted, follow_redirects=True) as client,
    ):
        hold("Who is here?" in first_page(client), "with a key it does not answer")
    kept = (root / STATE.lstrip("/") / "sealed.sqlite3").read_bytes()
    hold(len(kept) > 4096 and not kept.startswith(b"SQLite"), "the ledger is not encrypted")
    print("with a key handed over by systemd the ledger is encrypted")


def _kept_case(root: Path) -> str:
    _as_user(root, "read", "read", "laps five", "--keep")
    (case,) = re.findall(r"\b[0-9]{4}-[a-z]{4}\b", _as_user(root, "cases", "cases"))
    return str(case)


def _as_user(root: Path, what: str, *arguments: str, typed: str = "") -> str:
    surroundings = (
        f"XDG_CONFIG_HOME={STATE}/config", f"XDG_DATA_HOME={STATE}/data",
        f"XDG_CACHE_HOME={STATE}/cache", f"COUNTERSIGN_LEDGER={STATE}/ledger.sqlite3",
    )  # fmt: skip
    settings = [f"--setenv={each}" for each in surroundings]
    command = [*_nspawn(root), "--pipe", "--user=countersign", *settings]
    return run(what, [*command, "/opt/countersign/bin/countersign", *arguments], typed=typed)


def _nspawn(root: Path) -> list[str]:
    return ["systemd-nspawn", "--quiet", "--register=no", "--keep-unit", "--directory", str(root)]


@contextmanager
def _booted(root: Path) -> Iterator[None]:
    """Booted with systemd on the network of this machine; ended as by its power button."""
    with socket.socket() as taken:
        hold(taken.connect_ex(("127.0.0.1", PORT)) != 0, f"something listens on port {PORT}")
    command = [*_nspawn(root), "--boot", "--console=pipe"]
    said = root.with_suffix(".log")
    with said.open("wb") as log:
        machine = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=log, stderr=subprocess.STDOUT
        )
        try:
            yield
            machine.send_signal(signal.SIGTERM)
            code = machine.wait(timeout=90)
            hold(code == 0, f"the machine ended with {code}:\n{said.read_text(errors='replace')}")
        except BaseException:
            print(said.read_text(errors="replace")[-4000:], file=sys.stderr)
            raise
        finally:
            if machine.poll() is None:
                _end(machine)


def _end(machine: subprocess.Popen[bytes]) -> None:
    """At once: its first process takes all others of the system with it, nspawn alone does not."""
    children = Path(f"/proc/{machine.pid}/task/{machine.pid}/children").read_text().split()
    for each in map(int, children):
        os.kill(each, signal.SIGKILL)
    machine.kill()
    machine.wait()


def _process() -> int:
    """The process of the unit: the oldest that serves out of another root."""
    here = Path("/").stat()
    found = []
    for each in Path("/proc").glob("[0-9]*"):
        try:
            words = (each / "cmdline").read_bytes()
            other = (each / "root").stat()
        except OSError:
            continue
        if SERVED in words and (other.st_dev, other.st_ino) != (here.st_dev, here.st_ino):
            found.append(int(each.name))
    hold(bool(found), "no process serves")
    return min(found)


def _hold_rights(process: int) -> None:
    lines = (Path("/proc") / str(process) / "status").read_text().splitlines()
    told = {name: value.split() for name, _, value in (line.partition(":") for line in lines)}
    found = {name: told[name][0] for name in NO_RIGHTS}
    hold(found == NO_RIGHTS, f"rights of the process: {found}")
    hold("0" not in told["Uid"], "the process is root")
    print(f"the process is user {told['Uid'][0]}, without capabilities, with a filter of calls")


if __name__ == "__main__":
    sys.exit(main())
