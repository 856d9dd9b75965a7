"""Bring a database's tables up to date, all of it or nothing."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy.engine import Engine

LOCK = 6_174_205
"""Number of the advisory lock under which PostgreSQL lets one of us migrate."""


def upgrade(engine: Engine) -> None:
    """Run the migrations that are missing, in one transaction."""
    writer = engine.execution_options(dipstep_writes=True)
    with writer.begin() as connection:
        if engine.dialect.name == "postgresql":
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({LOCK})")
        command.upgrade(config_for(connection), "head")


def config_for(connection: object) -> Config:
    """Return alembic's settings for an open connection."""
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config
