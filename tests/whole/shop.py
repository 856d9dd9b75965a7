"""A shop for tests: a service on a fresh folder, a clock that stands, a small table, a log."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from fastapi.testclient import TestClient

from api.app import create_app
from api.settings import Settings

NOON = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)

TABLE = """strip,lot,pad,analyte,unit,read_after_s,centre_mm,size_mm,value,L,a,b
Brook six,B1,1,ph,pH,15,8,5,6.8,78,8,60
Brook six,B1,1,ph,pH,15,8,5,7.2,72,20,55
Brook six,B1,1,ph,pH,15,8,5,7.8,62,34,44
Brook six,B1,1,ph,pH,15,8,5,8.4,54,44,28
Brook six,B1,2,free_chlorine,mg/L,15,17,5,0,95,0,6
Brook six,B1,2,free_chlorine,mg/L,15,17,5,1,88,8,-2
Brook six,B1,2,free_chlorine,mg/L,15,17,5,3,78,18,-10
Brook six,B1,2,free_chlorine,mg/L,15,17,5,10,60,34,-22
"""

TUB = {
    "name": "Garden tub",
    "volume_l": 1250,
    "temperature_c": 38.0,
    "sanitizer": "salt_chlorine",
    "has_sensor": True,
    "procedure": "salt_startup",
}


@dataclass
class Clock:
    """A clock that stands until it is moved."""

    at: datetime = NOON

    def __call__(self) -> datetime:
        return self.at

    def move(self, **span: float) -> None:
        self.at += timedelta(**span)


@dataclass
class Shop:
    """A running service and what a test needs to know of it."""

    client: TestClient
    home: Path
    clock: Clock = field(default_factory=Clock)


@contextmanager
def open_shop(home: Path, url: str | None = None, **settings: object) -> Iterator[Shop]:
    """Yield a service on this folder; the clock stands at noon."""
    clock = Clock()
    wish = Settings(home, url or f"sqlite:///{home / 'dipstep.db'}", readers=1, **settings)
    with TestClient(create_app(wish, clock)) as client:
        yield Shop(client, home, clock)
