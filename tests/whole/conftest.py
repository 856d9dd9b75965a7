"""A PostgreSQL server of our own for the tests, and a shop on either database."""

import os
import shutil
import socket
import subprocess
import tempfile
import uuid
from pathlib import Path

import psycopg
import pytest

from api.store import open_store
from tests.whole.canned import CannedPool
from tests.whole.shop import open_shop

PLACES = [*sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True), Path("/usr/local/bin")]


def tool(name):
    """Return the path of one of PostgreSQL's programs."""
    found = [place / name for place in PLACES if (place / name).exists()] or [shutil.which(name)]
    assert found[0], f"{name} is missing: apt-get install postgresql"
    return str(found[0])


def as_server_user():
    """Return how to run the server: it refuses to be root."""
    return {"user": "postgres", "group": "postgres"} if os.geteuid() == 0 else {}


@pytest.fixture(scope="session")
def postgres():
    """Yield the address of a fresh PostgreSQL server, without its database's name."""
    folder = Path(tempfile.mkdtemp(prefix="dipstep-pg-"))
    owner = as_server_user()
    if owner:
        shutil.chown(folder, "postgres", "postgres")
    run = {"check": True, "capture_output": True, "cwd": folder, **owner}
    subprocess.run([tool("initdb"), "-D", "data", "-A", "trust", "-U", "shop", "-N"], **run)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    options = f"-p {port} -k {folder} -c listen_addresses=127.0.0.1 -c fsync=off"
    control = [tool("pg_ctl"), "-D", "data", "-w", "-l", str(folder / "log")]
    # not captured: the server keeps its standard output open
    quiet = {"check": True, "cwd": folder, "stdout": subprocess.DEVNULL, **owner}
    subprocess.run([*control, "-o", options, "start"], **quiet)
    yield f"postgresql://shop@127.0.0.1:{port}/"
    subprocess.run([*control, "-m", "immediate", "stop"], **quiet)
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def fresh_sqlite(tmp_path_factory):
    """Return a SQLite file with all tables and no rows, to copy."""
    path = tmp_path_factory.mktemp("fresh") / "books.db"
    open_store(f"sqlite:///{path}").close()
    return path


@pytest.fixture(scope="session")
def fresh_postgres(postgres):
    """Return the name of a PostgreSQL database with all tables and no rows, to copy."""
    with psycopg.connect(postgres + "postgres", autocommit=True) as connection:
        connection.execute("CREATE DATABASE fresh")
    open_store(postgres + "fresh").close()
    return "fresh"


@pytest.fixture(params=["sqlite", "postgresql"])
def database_url(request, tmp_path):
    """Yield the address of an empty database, on either engine."""
    if request.param == "sqlite":
        shutil.copy(request.getfixturevalue("fresh_sqlite"), tmp_path / "books.db")
        return f"sqlite:///{tmp_path / 'books.db'}"
    server, fresh = (request.getfixturevalue(one) for one in ("postgres", "fresh_postgres"))
    name = f"shop_{uuid.uuid4().hex}"
    with psycopg.connect(server + "postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name} TEMPLATE {fresh}")
    return server + name


@pytest.fixture
def shop(tmp_path, database_url, monkeypatch):
    """Yield a shop on either database; its readers answer what the test has put in them."""
    monkeypatch.setattr("api.app.ReadingPool", CannedPool)
    with open_shop(tmp_path / "home", database_url) as opened:
        yield opened
