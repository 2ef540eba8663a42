"""Prove that the container works: ``python -m tests.shipping.container`` (root; podman, runc).

It builds the image from ``deploy/Containerfile``, starts it as its comments say (root read-only,
no capability, no new privileges, a volume for what is kept), and then does the job: a recording
without any network, a person with a PIN, the pages behind TLS, a signed-in look at the case, an end
as on Ctrl-C, and the ledger checked. Without an image registry, ``--debian`` first makes a base
image of Debian's own packages (mmdebstrap).
"""

import argparse
import json
import re
import ssl
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import httpx
from tests.shipping.running import run

ROOT = Path(__file__).parents[2]
RECORDING = "sharps-three-items.flac"
IMAGE = "localhost/countersign-tried"
DEBIAN = "localhost/countersign-tried-base"
PIN = "246810"
RESTRICTED = (
    "--runtime", "runc", "--read-only", "--tmpfs", "/tmp", "--cap-drop", "all",
    "--security-opt", "no-new-privileges", "--ulimit", "nofile=1024:1024",
    "--ulimit", "nproc=1000:1000",
)  # fmt: skip
STATE = "/var/lib/countersign"


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--debian", action="store_true", help="Make the base image of Debian.")
    asked.add_argument("--option", action="append", default=[], help="For podman build, as --x=y.")
    asked.add_argument("--port", type=int, default=18734)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="container-") as name:
        work = Path(name)
        work.chmod(0o755)
        options = list(given.option)
        if given.debian:
            _debian(work)
            options.append(f"--build-arg=BASE={DEBIAN}")
        file = str(ROOT / "deploy" / "Containerfile")
        run("build", ["podman", "build", *options, "-f", file, "-t", IMAGE, str(ROOT)])
        volume = f"countersign-tried-{time.time_ns()}"
        run("volume", ["podman", "volume", "create", volume])
        try:
            case = _main_job(volume)
            _shut_in(volume)
            _pages(work, volume, case, given.port)
            print(_contained("ledger check", volume, "ledger", "check").splitlines()[0])
        finally:
            run("volume removed", ["podman", "volume", "rm", "--force", volume])
    return 0


def _debian(work: Path) -> None:
    packages = "python3,python3-venv,python-is-python3,ca-certificates"
    made = work / "base.tar"
    command = ["mmdebstrap", "--variant=minbase", f"--include={packages}", "bookworm", str(made)]
    run("base of Debian packages", command)
    run("base imported", ["podman", "import", str(made), DEBIAN])


def _contained(
    what: str, volume: str, *arguments: str, options: tuple[str, ...] = (), typed: str = ""
) -> str:
    """One command in a container of its own without a network."""
    place = ("--network", "none", "--volume", f"{volume}:{STATE}")
    command = ["podman", "run", "--rm", "-i", *RESTRICTED, *place, *options, IMAGE, *arguments]
    return run(what, command, typed=typed)


def _main_job(volume: str) -> str:
    """Listen to a shipped recording, compare with what was said, keep the case."""
    there = ("--volume", f"{ROOT / 'audio_fixtures'}:/audio:ro")
    heard = json.loads(
        _contained("listen", volume, "listen", f"/audio/{RECORDING}", "--json", options=there)
    )
    found = [(event["item"], event["quantity"]) for event in heard["events"]]
    manifest = json.loads((ROOT / "audio_fixtures" / "manifest.json").read_text())
    (entry,) = (each for each in manifest["recordings"] if each["file"] == RECORDING)
    said = [(event["item"], event["quantity"]) for event in entry["events"]]
    hold(found == said, f"heard {found}, said was {said}")
    print(f"heard as said: {found}, model {heard['model']}")
    shown = _contained("cases", volume, "cases")
    (case,) = re.findall(r"\b[0-9]{4}-[a-z]{4}\b", shown)
    return str(case)


def _shut_in(volume: str) -> None:
    """The user, its rights, and where it can write."""
    look = (
        "id -u; grep -E '^(CapEff|CapBnd|NoNewPrivs)' /proc/self/status;"
        "for place in /opt /etc /usr /; do touch $place/x 2>/dev/null && echo wrote $place; done;"
        f"touch {STATE}/x && rm {STATE}/x && echo keeps"
    )
    options = ("--entrypoint", "/bin/sh")
    said = _contained("shut in", volume, "-c", look, options=options).split()
    nothing = "0" * 16
    wanted = ["8734", "CapEff:", nothing, "CapBnd:", nothing, "NoNewPrivs:", "1", "keeps"]
    # the kernel lists the sets in an order of its own
    hold(sorted(said) == sorted(wanted), f"in the container: {said}")


def _pages(work: Path, volume: str, case: str, port: int) -> None:
    """Serve as the image does, sign in with a PIN, look at the case, end it."""
    words = ("people", "add", "--role", "circulator", "--initials", "CD")
    _contained("people add", volume, *words, typed=f"{PIN}\n{PIN}\n")
    key, certificate = certificate_in(work)
    key.chmod(0o644)  # the user in the container is another one
    mounts = [f"--volume={each}:/run/secrets/{each.name}:ro" for each in (key, certificate)]
    served = run(
        "serve",
        ["podman", "run", "-d", *RESTRICTED, "-p", f"127.0.0.1:{port}:8734", *mounts,
         "--volume", f"{volume}:{STATE}", IMAGE],
    ).strip()  # fmt: skip
    try:
        look(ssl.create_default_context(cafile=str(certificate)), port, case)
        run("stop", ["podman", "stop", "-t", "30", served])
        code = run("ended with", ["podman", "wait", served]).strip()
        hold(code == "130", f"the server ended with {code}, as on Ctrl-C it ends with 130")
    finally:
        subprocess.run(["podman", "rm", "--force", served], capture_output=True, check=False)


def certificate_in(folder: Path) -> tuple[Path, Path]:
    """A key and a certificate of this machine's own, made in a folder."""
    key, certificate = folder / "key.pem", folder / "certificate.pem"
    run(
        "certificate",
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj",
         "/CN=localhost", "-addext", "subjectAltName=IP:127.0.0.1", "-keyout", str(key),
         "-out", str(certificate)],
    )  # fmt: skip
    return key, certificate


def look(trusted: ssl.SSLContext, port: int, case: str) -> None:
    """Sign in from outside with a PIN and look for the case, which nobody else may see."""
    with httpx.Client(
        base_url=f"https://127.0.0.1:{port}", verify=trusted, follow_redirects=True
    ) as client:
        page = first_page(client)
        hold("Who is here?" in page, "the first page is no sign-in")
        hold(case not in client.get(f"/cases/{case}").text, "strangers see the case")
        form = {"initials": "CD", "role": "circulator"}
        wrong = client.post("/sign-in", data={**form, "pin": "135799"})
        hold(case not in wrong.text, "a wrong PIN opened the pages")
        page = client.post("/sign-in", data={**form, "pin": PIN}).text
        hold(case in page, "the case is not listed after signing in")
        print("pages: sign-in with PIN over TLS, the kept case is listed")


def first_page(client: httpx.Client) -> str:
    """The page that a stranger gets, as soon as the server answers."""
    for _ in range(120):
        try:
            return client.get("/").text
        except httpx.TransportError:
            time.sleep(0.5)
    raise SystemExit("the server did not answer within a minute")


def hold(true: bool, otherwise: str) -> None:
    """End the program with ``otherwise`` unless it is true."""
    if not true:
        raise SystemExit(f"FAILED: {otherwise}")


if __name__ == "__main__":
    sys.exit(main())
