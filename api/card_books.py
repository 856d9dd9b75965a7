"""The measured cards the shop keeps, and how well each still fits: from all readings with it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api import shelf
from api.experience import LIGHT_CODES
from api.store import KeptFile, Photo, Reading
from calibration.card_watch import CardFit, CardWatch, watch_card
from reader.card_files import read_facts

NEWEST = 400
"""So many readings with a card are looked at: months in a busy shop, and soon looked through."""


@dataclass(frozen=True)
class CardLine:
    """One kept card: what it says of itself, and how it fitted over time."""

    name: str
    version: int
    serial: str | None
    measured_on: str | None
    fits: tuple[CardFit, ...]
    """Of the newest version's readings in fair light, in order of time."""
    watch: CardWatch

    @property
    def title(self) -> str:
        """Return the name with serial, where there is one."""
        return f"{self.name} (serial {self.serial})" if self.serial else self.name


def card_lines(session: Session) -> tuple[CardLine, ...]:
    """Return every card that is offered, those that fade first."""
    lines = [card_line(session, kept) for kept in shelf.offered(session, "card")]
    return tuple(sorted(lines, key=lambda one: (one.watch.state != "fading", one.name)))


def card_line(session: Session, kept: KeptFile) -> CardLine:
    """Return what is known of one kept card."""
    facts = read_facts(kept.data)
    query = (
        select(Photo.taken_at, Reading.data)
        .join(Reading, Reading.photo_id == Photo.id)
        .where(Reading.card_id == kept.id)
        .order_by(Reading.id.desc())
        .limit(NEWEST)
    )
    fits = sorted(
        (
            CardFit(at, float(data["card"]["delta_e00_median"]))
            for at, data in session.execute(query)
            if tells_of_card(data)
        ),
        key=lambda fit: fit.at,
    )
    return CardLine(
        kept.name, kept.version, facts.serial, facts.measured_on, tuple(fits), watch_card(fits)
    )


def tells_of_card(reading: Mapping[str, Any]) -> bool:
    """Say whether a reading's card was seen in fair light, so that a misfit is the card's own."""
    card = reading.get("card") or {}
    fair = not any(code in LIGHT_CODES for code in reading.get("reasons", ()))
    return bool(card.get("found")) and card.get("delta_e00_median") is not None and fair
