"""What the shop keeps, in SQLite or PostgreSQL: tables, and sessions to read and write them.

Rows are added, never changed: a correction, a newer version, a decision is a row that points at
the older one. Only three things are rewritten: the end of a login, the end of a token, and
`tub_summary`, which can be made again from the rest.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    DateTime,
    ForeignKey,
    Index,
    LargeBinary,
    String,
    Text,
    UniqueConstraint,
    create_engine,
    event,
    func,
    select,
    text,
)
from sqlalchemy.engine import Engine, make_url
from sqlalchemy.exc import ArgumentError
from sqlalchemy.orm import DeclarativeBase, Mapped, Session, mapped_column
from sqlalchemy.types import TypeDecorator

BUSY_MS = 15_000
"""How long a SQLite writer waits for another."""


class UtcTime(TypeDecorator[datetime]):
    """A moment: refuses a naive time, gives UTC back on both engines."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Any) -> datetime | None:
        """Return the moment in UTC; SQLite keeps no offset."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value} has no offset; only whole moments are kept")
        moment = value.astimezone(UTC)
        return moment.replace(tzinfo=None) if dialect.name == "sqlite" else moment

    def process_result_value(self, value: datetime | None, _: Any) -> datetime | None:
        """Return the moment with its offset, UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Base(DeclarativeBase):
    """All tables."""

    type_annotation_map = {datetime: UtcTime, dict[str, Any]: JSON, list[Any]: JSON}  # noqa: RUF012


class Member(Base):
    """A person of the shop."""

    __tablename__ = "member"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(80), unique=True)
    role: Mapped[str] = mapped_column(String(20))
    password_hash: Mapped[str] = mapped_column(Text)
    added_at: Mapped[datetime]
    retired_at: Mapped[datetime | None]


class Login(Base):
    """A session of a member's browser; the token itself is never kept."""

    __tablename__ = "login"
    id: Mapped[int] = mapped_column(primary_key=True)
    token_sha256: Mapped[str] = mapped_column(String(64), unique=True)
    member_id: Mapped[int] = mapped_column(ForeignKey("member.id"), index=True)
    created_at: Mapped[datetime]
    expires_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]


class ApiToken(Base):
    """A key for a program; shown once, kept as a hash, revocable."""

    __tablename__ = "api_token"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(80))
    token_sha256: Mapped[str] = mapped_column(String(64), unique=True)
    member_id: Mapped[int] = mapped_column(ForeignKey("member.id"), index=True)
    created_at: Mapped[datetime]
    revoked_at: Mapped[datetime | None]


class Attempt(Base):
    """A failed login, counted by name and by address."""

    __tablename__ = "attempt"
    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(String(160))
    at: Mapped[datetime]
    __table_args__ = (Index("ix_attempt_key_at", "key", "at"),)


class KeptFile(Base):
    """One version of a kept file; its kind is `table`, `card`, `products` or `procedure`."""

    __tablename__ = "kept_file"
    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(String(10))
    name: Mapped[str] = mapped_column(String(120))
    version: Mapped[int]
    file_name: Mapped[str] = mapped_column(String(255))
    sha256: Mapped[str] = mapped_column(String(64))
    data: Mapped[bytes] = mapped_column(LargeBinary)
    facts: Mapped[dict[str, Any]]
    added_at: Mapped[datetime]
    added_by: Mapped[str] = mapped_column(String(80))
    __table_args__ = (UniqueConstraint("kind", "name", "version"),)


class Retired(Base):
    """A kept name that is no longer offered; what was read with it stays."""

    __tablename__ = "retired"
    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(String(10))
    name: Mapped[str] = mapped_column(String(120))
    after_version: Mapped[int]
    at: Mapped[datetime]
    by: Mapped[str] = mapped_column(String(80))


class Tub(Base):
    """A tub; what is said of it stands in its versions."""

    __tablename__ = "tub"
    id: Mapped[str] = mapped_column(String(36), primary_key=True)
    created_at: Mapped[datetime]
    created_by: Mapped[str] = mapped_column(String(80))


class TubVersion(Base):
    """What was said of a tub at a moment: the log's `tub`, `procedure` and `products`."""

    __tablename__ = "tub_version"
    id: Mapped[int] = mapped_column(primary_key=True)
    tub_id: Mapped[str] = mapped_column(ForeignKey("tub.id"), index=True)
    data: Mapped[dict[str, Any]]
    at: Mapped[datetime]
    by: Mapped[str] = mapped_column(String(80))


class TubSummary(Base):
    """The last answer for a tub, so that a list of tubs need not ask the engine for each."""

    __tablename__ = "tub_summary"
    tub_id: Mapped[str] = mapped_column(ForeignKey("tub.id"), primary_key=True)
    asked_at: Mapped[datetime]
    answer: Mapped[dict[str, Any] | None] = mapped_column(JSON)
    trouble: Mapped[str | None] = mapped_column(Text)
    due_at: Mapped[datetime | None]
    """The moment the answer waits for."""
    stage: Mapped[str | None] = mapped_column(Text)
    kind: Mapped[str | None] = mapped_column(Text)
    text: Mapped[str | None] = mapped_column(Text)


class TubEvent(Base):
    """One event of a tub's log; `data` is the event as the log writes it, offset and all."""

    __tablename__ = "tub_event"
    place: Mapped[int] = mapped_column(primary_key=True)
    """In the order of entering; tells apart what happened at one moment."""
    id: Mapped[str] = mapped_column(String(36), unique=True)
    tub_id: Mapped[str] = mapped_column(ForeignKey("tub.id"))
    at: Mapped[datetime]
    type: Mapped[str] = mapped_column(String(20))
    data: Mapped[dict[str, Any]]
    origin: Mapped[str] = mapped_column(String(10))
    reading_id: Mapped[int | None] = mapped_column(ForeignKey("reading.id"), index=True)
    replaces: Mapped[str | None] = mapped_column(ForeignKey("tub_event.id"), index=True)
    key: Mapped[str | None] = mapped_column(String(120))
    entered_at: Mapped[datetime]
    entered_by: Mapped[str] = mapped_column(String(80))
    __table_args__ = (
        Index("ix_tub_event_tub_at", "tub_id", "at"),
        UniqueConstraint("tub_id", "key"),
    )


class Withdrawal(Base):
    """An event taken out of the log; the event itself stays for who asks."""

    __tablename__ = "withdrawal"
    id: Mapped[int] = mapped_column(primary_key=True)
    event_id: Mapped[str] = mapped_column(ForeignKey("tub_event.id"), unique=True)
    why: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime]
    by: Mapped[str] = mapped_column(String(80))


class Photo(Base):
    """A photo sent for a tub; the file itself lies in the shop folder under its hash."""

    __tablename__ = "photo"
    id: Mapped[int] = mapped_column(primary_key=True)
    tub_id: Mapped[str] = mapped_column(ForeignKey("tub.id"), index=True)
    sha256: Mapped[str] = mapped_column(String(64), index=True)
    sent_sha256: Mapped[str] = mapped_column(String(64))
    """Hash of the bytes as sent, before the position was blanked: the same photo sent again."""
    name: Mapped[str] = mapped_column(String(255))
    taken_at: Mapped[datetime]
    elapsed_s: Mapped[float | None]
    key: Mapped[str | None] = mapped_column(String(120))
    answer: Mapped[dict[str, Any]]
    """What the sender was told, to tell it again when the same photo comes again."""
    sent_at: Mapped[datetime]
    sent_by: Mapped[str] = mapped_column(String(80))
    __table_args__ = (
        UniqueConstraint("tub_id", "sent_sha256"),
        UniqueConstraint("tub_id", "key"),
    )


class Reading(Base):
    """What one photo said, with the versions of table and card it was made with."""

    __tablename__ = "reading"
    id: Mapped[int] = mapped_column(primary_key=True)
    photo_id: Mapped[int] = mapped_column(ForeignKey("photo.id"), index=True)
    table_id: Mapped[int] = mapped_column(ForeignKey("kept_file.id"))
    card_id: Mapped[int | None] = mapped_column(ForeignKey("kept_file.id"))
    software: Mapped[str] = mapped_column(String(40))
    status: Mapped[str] = mapped_column(String(12))
    data: Mapped[dict[str, Any]]
    made_at: Mapped[datetime]
    made_by: Mapped[str] = mapped_column(String(80))


class Review(Base):
    """A pad that a person must look at."""

    __tablename__ = "review"
    id: Mapped[int] = mapped_column(primary_key=True)
    reading_id: Mapped[int] = mapped_column(ForeignKey("reading.id"), index=True)
    tub_id: Mapped[str] = mapped_column(ForeignKey("tub.id"), index=True)
    pad: Mapped[int]
    analyte: Mapped[str] = mapped_column(String(40))
    data: Mapped[dict[str, Any]]
    taken_at: Mapped[datetime]
    opened_at: Mapped[datetime]


class Decision(Base):
    """What a person decided about a review: who, when, what, why."""

    __tablename__ = "decision"
    id: Mapped[int] = mapped_column(primary_key=True)
    review_id: Mapped[int] = mapped_column(ForeignKey("review.id"), unique=True)
    decision: Mapped[str] = mapped_column(String(12))
    value: Mapped[float | None]
    source: Mapped[str | None] = mapped_column(String(20))
    note: Mapped[str] = mapped_column(Text)
    event_id: Mapped[str | None] = mapped_column(ForeignKey("tub_event.id"))
    at: Mapped[datetime]
    by: Mapped[str] = mapped_column(String(80))


class StoreError(ValueError):
    """A database that cannot be used; the message says which and what to do."""


class Store:
    """The database, with a session to read and one to write."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Open a session that sees one consistent state and changes nothing."""
        with Session(self.engine, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """Open a session whose changes are kept together or not at all."""
        engine = self.engine.execution_options(dipstep_writes=True)
        with Session(engine, expire_on_commit=False) as session, session.begin():
            yield session

    def describe(self) -> dict[str, str | None]:
        """Return the kind of database and the revision of its tables."""
        with self.reading() as session:
            revision = session.scalar(text("SELECT version_num FROM alembic_version"))
        return {"kind": self.engine.dialect.name, "revision": revision}

    def members(self) -> int:
        """Return how many members there are."""
        with self.reading() as session:
            query = select(func.count(Member.id)).where(Member.retired_at.is_(None))
            return session.scalar(query) or 0

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()


def open_store(url: str) -> Store:
    """Open the database and bring its tables up to date; raise `StoreError` when it cannot be."""
    from sqlalchemy.exc import SQLAlchemyError

    from api.migrations.upgrade import upgrade

    try:
        engine = engine_for(url)
        upgrade(engine)
    except (SQLAlchemyError, ArgumentError, ModuleNotFoundError) as fault:
        why = str(fault).splitlines()[0]
        raise StoreError(
            f"the database cannot be used ({why}); check DIPSTEP_DATABASE_URL and the shop folder"
        ) from None
    return Store(engine)


def engine_for(url: str) -> Engine:
    """Return the engine; `postgresql://` uses psycopg 3, SQLite gets its pragmas."""
    parsed = make_url(url)
    if parsed.drivername in ("postgresql", "postgres"):
        parsed = parsed.set(drivername="postgresql+psycopg")
    if parsed.get_backend_name() != "sqlite":
        return create_engine(parsed, pool_pre_ping=True, hide_parameters=True)
    engine = create_engine(parsed, hide_parameters=True)  # values never reach a log
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: Any, _: Any) -> None:
    """Make commits durable and let us say BEGIN ourselves."""
    connection.isolation_level = None
    for pragma in (
        f"busy_timeout={BUSY_MS}",
        "journal_mode=WAL",
        "synchronous=FULL",
        "foreign_keys=ON",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Any) -> None:
    """Take the write lock at once: an upgrade from read to write would not wait for it."""
    writes = connection.get_execution_options().get("dipstep_writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
