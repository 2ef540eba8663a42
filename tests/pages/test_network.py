"""The pages on a network: TLS with a certificate that the client checks, PINs, sound over it."""

import datetime
import ipaddress
import socket
import ssl
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import httpx
import numpy as np
import pytest
import uvicorn
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from tests.pages.conftest import pieces

from countersign.hearing import Ears
from countersign.ledger import open_ledger, read_case
from countersign.pages import Served
from countersign.pages.people import add_person
from countersign.pages.rooms import Rooms
from countersign.pages.server import serve
from countersign.problems import BadInput
from countersign.sound import Block
from countersign.streaming.entering import Session, begin_case, end_case, sign_in
from countersign.streaming.sending import send
from countersign.tally.record import Role

PIN = "redoak42"
COUNTED = "laps-five.flac"


@dataclass
class Network:
    """A server that is reached over TLS, and the certificate of who signed its own."""

    port: int
    authority: Path

    @property
    def address(self) -> str:
        return f"https://127.0.0.1:{self.port}"


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A certificate for 127.0.0.1 that signs itself, and its key (RFC 5280)."""
    folder = tmp_path_factory.mktemp("tls")
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "a ward server of the tests")])
    today = datetime.datetime.now(datetime.UTC)
    made = (
        x509.CertificateBuilder(name, name, key.public_key(), x509.random_serial_number())
        .not_valid_before(today - datetime.timedelta(hours=1))
        .not_valid_after(today + datetime.timedelta(days=1))
        .add_extension(
            x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]),
            critical=False,
        )
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .sign(key, hashes.SHA256())
    )
    paths = folder / "certificate.pem", folder / "key.pem"
    paths[0].write_bytes(made.public_bytes(serialization.Encoding.PEM))
    paths[1].write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    return paths


@pytest.fixture
def network(
    settings: Served, certificate: tuple[Path, Path], ears: Ears, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Network]:
    """What ``countersign serve --network`` runs."""
    monkeypatch.setattr(Rooms, "_ears_for", lambda _self, _kit: ears)
    running: list[uvicorn.Server] = []

    class Kept(uvicorn.Server):
        def __init__(self, config: uvicorn.Config) -> None:
            super().__init__(config)
            running.append(self)

    monkeypatch.setattr("countersign.pages.server.uvicorn.Server", Kept)
    add_person(settings.people, "AB", Role.CIRCULATOR, PIN)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    reached = settings.model_copy(update={"network": True})
    thread = threading.Thread(target=serve, args=(reached, "127.0.0.1", port, *certificate))
    thread.start()
    while not (running and running[0].started):
        assert thread.is_alive()
        time.sleep(0.01)
    yield Network(port, certificate[0])
    running[0].should_exit = True
    thread.join(10)


def test_a_ward_network_is_served_over_tls_alone(network: Network) -> None:
    with pytest.raises(httpx.TransportError):  # no answer without TLS
        httpx.get(f"http://127.0.0.1:{network.port}/sign-in")
    with pytest.raises(httpx.ConnectError, match="CERTIFICATE_VERIFY_FAILED"):
        httpx.get(f"{network.address}/sign-in")  # by who does not know the signer
    trusting = ssl.create_default_context(cafile=str(network.authority))
    with httpx.Client(verify=trusting, base_url=network.address) as client:
        assert client.get("/").headers["location"] == "/sign-in"
        who = {"initials": "AB", "role": "circulator"}
        assert client.post("/sign-in", data=who).status_code == 403
        answer = client.post("/sign-in", data={**who, "pin": PIN})
        assert answer.status_code == 303
        cookie = answer.headers["set-cookie"].lower()
        for part in ("secure", "httponly", "samesite=strict", "max-age="):
            assert part in cookie
        assert client.get("/").status_code == 200


def test_sound_goes_over_tls_to_a_server_that_is_known(network: Network, settings: Served) -> None:
    def enter(authority: Path | None) -> Session:
        return sign_in(network.address, "AB", Role.CIRCULATOR, lambda: PIN, authority)

    with pytest.raises(BadInput, match="does not answer"):
        enter(None)
    session = enter(network.authority)
    case = begin_case(session)
    sound = pieces(COUNTED)
    samples = np.frombuffer(sound, dtype="<i2")
    blocks = (Block(samples[at : at + 8_000], at / 16_000) for at in range(0, len(samples), 8_000))
    told: list[str] = []
    sent = send(lambda: session, case, blocks, told.append)
    assert (sent.sent_s, sent.lost_s, told) == (len(samples) / 16_000, 0, [])
    end_case(session, case)
    ledger = open_ledger(settings.ledger)
    events = read_case(ledger, case).events
    ledger.close()
    assert [(event.item, event.quantity) for event in events] == [("lap_sponge", 5)]
