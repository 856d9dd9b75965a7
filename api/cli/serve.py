"""`dipstep serve`: the service in the browser and for programs."""

from __future__ import annotations

import argparse
import os
import socket
import ssl
import sys
from dataclasses import replace
from ipaddress import ip_address
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.common import UnusableError, complain, read_bytes, reason

if TYPE_CHECKING:
    from api.cli.common import Verbs

EXAMPLE = "example: dipstep serve --host 127.0.0.1 --port 8000"


def add(verbs: Verbs) -> None:
    """Add the verb to the command."""
    verb = verbs.add_parser(
        "serve",
        help="serve pages and calls",
        description="Serve the pages for people and the calls for programs. Everything it keeps "
        "lies in the shop folder, DIPSTEP_HOME (default: dipstep-shop in this folder).",
        epilog=EXAMPLE,
    )
    verb.add_argument("--host", default="127.0.0.1", help="address to listen on")
    verb.add_argument("--port", type=port, default=8000, help="port to listen on")
    verb.add_argument("--cert", type=Path, metavar="FILE", help="TLS certificate (PEM)")
    verb.add_argument("--key", type=Path, metavar="FILE", help="its private key (PEM)")
    verb.set_defaults(run=run, usage_error=verb.error)


def port(text: str) -> int:
    """Parse a port number, for argparse."""
    if not text.isdigit() or not 0 < int(text) < 65_536:
        raise argparse.ArgumentTypeError(f"{text!r} is not a port from 1 to 65535")
    return int(text)


def run(args: argparse.Namespace) -> int:
    """Serve until stopped, then return 0."""
    import uvicorn

    from api.app import create_app
    from api.log_lines import write_to
    from api.settings import Settings

    if bool(args.cert) != bool(args.key):
        args.usage_error("--cert and --key belong together; give both or none")
    check_certificate(args.cert, args.key)
    address = check_address(args.host, args.port)
    alone = ip_address(address).is_loopback
    try:
        settings = replace(Settings.from_environ(os.environ), alone=alone, warm=True)
        app = create_app(settings)
    except OSError as fault:
        raise UnusableError(
            f"the shop folder {settings.home} cannot be used ({reason(fault)}); set DIPSTEP_HOME"
        ) from None
    except ValueError as fault:
        raise UnusableError(fault) from None
    if not alone and app.state.store.members() == 0:
        raise UnusableError(
            f"{args.host} can be reached by others and no member exists yet; add one first: "
            "dipstep member add NAME --role keeper"
        )
    scheme = "https" if args.cert else "http"
    complain(f"serving at {scheme}://{args.host}:{args.port}, shop folder {settings.home}")
    write_to(sys.stderr)
    uvicorn.run(
        app,
        host=args.host,
        port=args.port,
        ssl_certfile=args.cert,
        ssl_keyfile=args.key,
        log_level="warning",
        server_header=False,
    )
    return 0


def check_certificate(cert: Path | None, key: Path | None) -> None:
    """Say in one sentence when certificate and key cannot be used together."""
    if cert is None or key is None:
        return
    for path in (cert, key):
        read_bytes(path)
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(cert, key)
    except (ssl.SSLError, OSError):
        raise UnusableError(
            f"{cert} and {key}: are no certificate and its key in PEM; make them with mkcert or "
            "ask who runs your network"
        ) from None


def check_address(host: str, number: int) -> str:
    """Return the IP address; say in one sentence when it cannot be listened on."""
    try:
        found = socket.getaddrinfo(host, number, type=socket.SOCK_STREAM)[0]
        with socket.socket(found[0], socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(found[4])
            return str(found[4][0])
    except OSError as fault:
        raise UnusableError(
            f"cannot listen on {host} port {number} ({reason(fault)}); choose another --port"
        ) from None
