"""Running the application: on this machine alone, or on a network with TLS and sign-in."""

import ipaddress
import ssl
from pathlib import Path

import uvicorn
from fastapi import FastAPI

from countersign.pages.app import create_app
from countersign.pages.connection import Connection
from countersign.pages.people import read_people
from countersign.pages.served import Served
from countersign.pages.sockets import LARGEST_PIECE
from countersign.problems import BadInput


def is_this_machine(host: str) -> bool:
    """Whether only programs on this machine can reach the address."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def check_reach(served: Served, host: str, certificate: Path | None, key: Path | None) -> None:
    """``BadInput`` where a server would be reachable without what a network needs."""
    if not served.network:
        if not is_this_machine(host):
            raise BadInput(
                f"{host} can be reached from other machines; say so with --network, which needs"
                " --certificate, --key and people with PINs."
            )
        return
    if certificate is None or key is None:
        raise BadInput("On a network the pages need TLS: give --certificate and --key.")
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key)
    except (OSError, ssl.SSLError) as error:
        raise BadInput(
            f"The certificate {certificate} cannot be used ({error.strerror})."
        ) from None
    if not read_people(served.people):
        raise BadInput(
            "On a network everyone needs a PIN; add people with 'countersign people add'."
        )


def _as_asked_for(host: str) -> str:
    """An address as it stands in a request: that of version 6 in brackets (RFC 3986, 3.2.2)."""
    return f"[{host}]" if ":" in host else host


def serve(
    served: Served, host: str, port: int, certificate: Path | None = None, key: Path | None = None
) -> None:
    """Serve until stopped. ``BadInput`` where the settings do not fit or the port is taken."""
    check_reach(served, host, certificate, key)
    asked_as = (*served.hosts, _as_asked_for(host))
    app = create_app(served.model_copy(update={"hosts": asked_as}))
    try:
        uvicorn.Server(config(app, served, host, port, certificate, key)).run()
    except SystemExit:  # uvicorn has said why in its log
        raise BadInput(f"Port {port} on {host} cannot be used; is it taken?") from None


def config(
    app: FastAPI,
    served: Served,
    host: str,
    port: int,
    certificate: Path | None = None,
    key: Path | None = None,
) -> uvicorn.Config:
    """How the application is run, with what one connection may ask of it."""
    return uvicorn.Config(
        app,
        host=host,
        port=port,
        log_level="warning",
        server_header=False,
        http=Connection,
        ws_max_size=LARGEST_PIECE,
        ws_ping_interval=20,
        timeout_graceful_shutdown=3,
        ssl_certfile=certificate if served.network else None,
        ssl_keyfile=key if served.network else None,
    )
