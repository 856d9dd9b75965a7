"""A backup is one folder: the database as SQLite whatever it was, the photos, the shop's files.

Every file is listed with its SHA-256 in `manifest.json`; a restore checks all before it writes.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Iterator
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from sqlalchemy import Table, func, insert, inspect, select, text
from sqlalchemy.engine import Connection

from api import control_books  # noqa: F401 - names its tables, so that they are copied
from api.migrations.upgrade import upgrade
from api.settings import Settings
from api.store import Base, Store, engine_for, open_store

DATABASE = "dipstep.db"
MANIFEST = "manifest.json"
ROWS_AT_ONCE = 500


class BackupError(ValueError):
    """A backup that cannot be made or restored; the message says why and what to do."""


def back_up(settings: Settings, folder: Path, now: datetime) -> dict[str, Any]:
    """Write the backup, all of it or nothing, and return its manifest."""
    if not settings.home.is_dir():
        raise BackupError(f"{settings.home}: is no shop folder; set DIPSTEP_HOME")
    if folder.exists():
        raise BackupError(f"{folder}: exists already; name a new folder")
    part = folder.with_name(folder.name + ".part")
    shutil.rmtree(part, ignore_errors=True)
    part.mkdir(parents=True)
    try:
        copy_database(settings.database_url, part / DATABASE)
        for path in shop_files(settings.home):
            target = part / path.relative_to(settings.home)
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(path, target)
        manifest = {
            "made_at": now.isoformat(),
            "version": version("dipstep"),
            "files": {name: digest(part / name) for name in names_in(part)},
        }
        (part / MANIFEST).write_text(json.dumps(manifest, indent=1), encoding="utf-8")
        part.rename(folder)
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
    return manifest


def shop_files(home: Path) -> Iterator[Path]:
    """Yield everything of the shop folder but the database and what is half written."""
    for path in sorted(home.rglob("*")):
        inside = path.relative_to(home)
        if path.is_file() and path.suffix != ".part" and not str(inside).startswith(DATABASE):
            yield path


def copy_database(url: str, target: Path) -> None:
    """Write the database as it stands at one moment into a SQLite file."""
    store = open_store(url)
    try:
        if store.engine.dialect.name == "sqlite":
            raw = store.engine.raw_connection()
            try:
                raw.cursor().execute("VACUUM INTO ?", (str(target),))
            finally:
                raw.close()
            return
        copy = engine_for(f"sqlite:///{target}")
        upgrade(copy)
        with store.reading() as session, copy.begin() as there:
            copy_rows(session.connection(), there)
        copy.dispose()
    finally:
        store.close()


def copy_rows(here: Connection, there: Connection) -> None:
    """Copy every row, tables in the order their references ask for."""
    unknown = set(inspect(here).get_table_names()) - {*Base.metadata.tables, "alembic_version"}
    if unknown:
        raise BackupError(f"the database has a table {min(unknown)!r} of a newer Dipstep; update")
    for table in Base.metadata.sorted_tables:
        rows = [dict(row) for row in here.execute(select(table)).mappings()]
        ordered = replaced_first(rows) if "replaces" in table.columns else rows
        for start in range(0, len(ordered), ROWS_AT_ONCE):
            there.execute(insert(table), ordered[start : start + ROWS_AT_ONCE])
        if there.dialect.name == "postgresql":
            go_on_counting(there, table)


def replaced_first(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return events so that each stands after the one it replaces."""
    ordered: list[dict[str, Any]] = []
    done: set[str | None] = {None}
    while rows:
        ready = [row for row in rows if row["replaces"] in done]
        ordered += ready
        done |= {row["id"] for row in ready}
        rows = [row for row in rows if row["id"] not in done]
    return ordered


def go_on_counting(there: Connection, table: Table) -> None:
    """Let PostgreSQL's counter go on after the copied rows."""
    key = table.primary_key.columns[0]
    if key.type.python_type is not int:
        return
    most = there.scalar(select(func.max(key))) or 0
    there.execute(
        text("SELECT setval(pg_get_serial_sequence(:name, :key), :most, :used)"),
        {"name": table.name, "key": key.name, "most": max(most, 1), "used": most > 0},
    )


def names_in(folder: Path) -> list[str]:
    """Return the files of a backup, as the manifest names them."""
    return sorted(
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if path.is_file() and path.name != MANIFEST
    )


def digest(path: Path) -> str:
    """Return the SHA-256 of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def checked_manifest(folder: Path) -> dict[str, Any]:
    """Return the manifest; raise `BackupError` when a file is missing or damaged."""
    try:
        manifest: dict[str, Any] = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        files = dict(manifest["files"])
    except (OSError, ValueError, KeyError, TypeError):
        raise BackupError(f"{folder}: is no backup of Dipstep; name a folder that was") from None
    for name, known in files.items():
        path = folder / name
        if not path.is_file() or digest(path) != known:
            raise BackupError(f"{path}: is missing or damaged; take another backup")
    return manifest


def restore(settings: Settings, folder: Path) -> dict[str, Any]:
    """Bring a backup into an empty shop folder and database, and return its manifest."""
    manifest = checked_manifest(folder)
    if settings.home.is_dir() and any(settings.home.iterdir()):
        raise BackupError(f"{settings.home}: is not empty; set DIPSTEP_HOME to a new folder")
    try:
        copy_files(folder, settings.home, manifest)
        fill_database(settings.database_url, folder / DATABASE)
    except BaseException:
        shutil.rmtree(settings.home, ignore_errors=True)
        raise
    return manifest


def copy_files(folder: Path, home: Path, manifest: dict[str, Any]) -> None:
    """Copy the files of a backup but the database."""
    home.mkdir(parents=True, exist_ok=True)
    for name in manifest["files"]:
        if name != DATABASE:
            target = home / name
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(folder / name, target)


def fill_database(url: str, source: Path) -> None:
    """Copy the backup's rows into the empty database at this address."""
    store = open_store(url)
    try:
        if has_rows(store):
            raise BackupError("the database is not empty; give DIPSTEP_DATABASE_URL a new one")
        with TemporaryDirectory() as room:  # opening a SQLite file changes it
            copy = shutil.copy2(source, Path(room) / DATABASE)
            backup = open_store(f"sqlite:///{copy}")
            with backup.reading() as here, store.writing() as session:
                copy_rows(here.connection(), session.connection())
            backup.close()
    finally:
        store.close()


def has_rows(store: Store) -> bool:
    """Say whether anything is kept in this database."""
    with store.reading() as session:
        return any(
            session.execute(select(table).limit(1)).first() is not None
            for table in Base.metadata.sorted_tables
        )
