"""The store: its tables are what the migrations make, its moments keep their offset."""

import threading
from datetime import UTC, datetime, timedelta, timezone

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import select, text
from sqlalchemy.exc import StatementError

import api.app  # noqa: F401 - so that every module has named its tables
from api.migrations import upgrade as migrations
from api.store import Attempt, Base, Store, StoreError, engine_for, open_store


@pytest.fixture
def store(tmp_path):
    opened = open_store(f"sqlite:///{tmp_path / 'books.db'}")
    yield opened
    opened.close()


def test_the_migrations_make_the_tables_that_the_code_expects(store):
    with store.engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), Base.metadata) == []


def test_a_migration_that_fails_leaves_nothing(tmp_path, monkeypatch):
    def half_way(config, _):
        config.attributes["connection"].exec_driver_sql("CREATE TABLE half (id INTEGER)")
        raise RuntimeError("power cut")

    monkeypatch.setattr(migrations.command, "upgrade", half_way)
    engine = engine_for(f"sqlite:///{tmp_path / 'books.db'}")
    with pytest.raises(RuntimeError, match="power cut"):
        migrations.upgrade(engine)
    with engine.connect() as connection:
        assert connection.scalar(text("SELECT count(*) FROM sqlite_master")) == 0
    engine.dispose()


def test_moments_come_back_in_utc_and_naive_ones_are_refused(store):
    here = datetime(2026, 6, 1, 9, tzinfo=timezone(timedelta(hours=2)))
    with store.writing() as session:
        session.add(Attempt(key="x", at=here))
    with store.reading() as session:
        kept = session.scalars(select(Attempt.at)).one()
    assert kept == here
    assert kept.tzinfo == UTC

    with store.reading() as session:
        session.add(Attempt(key="x", at=datetime(2026, 6, 1, 9)))
        with pytest.raises(StatementError, match="has no offset"):
            session.flush()


def test_writers_that_read_first_do_not_lock_each_other_out(store):
    def write():
        for _ in range(10):
            with store.writing() as session:
                session.scalars(select(Attempt)).all()
                session.add(Attempt(key="x", at=datetime(2026, 6, 1, tzinfo=UTC)))

    writers = [threading.Thread(target=write) for _ in range(6)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()

    with store.reading() as session:
        assert len(session.scalars(select(Attempt)).all()) == 60


def test_sqlite_survives_a_power_cut_and_minds_references(store):
    with store.engine.connect() as connection:
        assert connection.scalar(text("PRAGMA journal_mode")) == "wal"
        assert connection.scalar(text("PRAGMA synchronous")) == 2
        assert connection.scalar(text("PRAGMA foreign_keys")) == 1


@pytest.mark.parametrize(
    "url", ["sqlite:////proc/none/books.db", "nonsense", "postgresql://nobody@127.0.0.1:1/none"]
)
def test_a_database_that_cannot_be_used_is_told_in_one_sentence(url):
    with pytest.raises(StoreError, match=r"the database cannot be used .* check DIPSTEP_DATABASE"):
        open_store(url)


def test_two_stores_share_nothing(tmp_path):
    first, second = (open_store(f"sqlite:///{tmp_path / name}") for name in ("a.db", "b.db"))
    with first.writing() as session:
        session.add(Attempt(key="x", at=datetime(2026, 6, 1, tzinfo=UTC)))

    assert isinstance(second, Store)
    with second.reading() as session:
        assert session.scalars(select(Attempt)).all() == []
    first.close()
    second.close()
