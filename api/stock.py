"""Tables and cards a reading may ask for by name: the shelf, and the samples of a checkout."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from sqlalchemy.orm import Session

from api import shelf
from api.named import Named
from api.settings import Settings
from api.shelf import Kind
from api.words import lot_words

SAMPLE = "sample"
"""The name of the sample strip's table and card, where this is a checkout."""
SAMPLE_FILES = {"table": "table.csv", "card": "card-measured.txt"}


class UnknownNameError(ValueError):
    """A name that is not on the shelf; the message says which there are."""


@dataclass(frozen=True)
class Offer:
    """A name that can be chosen, and what to call it."""

    name: str
    label: str


def offers(session: Session, kind: Kind, settings: Settings) -> list[Offer]:
    """Return what can be chosen, the shop's own first."""
    own = [Offer(one.name, label(one.name, one.facts, one.version)) for one in
           shelf.offered(session, kind)]  # fmt: skip
    if _sample(kind, settings):
        own.append(Offer(SAMPLE, f"Sample {'strip' if kind == 'table' else 'card'} (invented)"))
    return own


def label(name: str, facts: dict[str, object], version: int) -> str:
    """Return how a kept table or card is offered to a person."""
    lot = f", {lot_words(str(facts['lot']))}" if facts.get("lot") else ""
    return f"{name}{lot}, version {version}"


def fetch(session: Session, kind: Kind, name: str, settings: Settings) -> tuple[Named, int | None]:
    """Return the file of this name and the id of its version (None for the samples).

    Raises `UnknownNameError` with the names there are.
    """
    kept = shelf.latest(session, kind, name)
    if kept is not None:
        return shelf.named(kept), kept.id
    sample = _sample(kind, settings)
    if name == SAMPLE and sample:
        return Named(sample.name, sample.read_bytes()), None
    known = ", ".join(one.name for one in offers(session, kind, settings)) or "none yet"
    raise UnknownNameError(f"{kind}: there is none called {name!r}; kept are: {known}")


def _sample(kind: Kind, settings: Settings) -> Path | None:
    if settings.samples is None or kind not in SAMPLE_FILES:
        return None
    path = settings.samples / SAMPLE_FILES[kind]
    return path if path.is_file() else None
