"""What the keeper's pages ask of the reading processes, beside reading strips."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from api.named import Named
from api.workers import Answer, Fault


@dataclass(frozen=True)
class CardTask:
    """Photos of a new card beside a measured one, or beside a published chart."""

    photos: tuple[Named, ...]
    beside: Named | None
    """The measured card's file; None where the chart lies beside the new card."""
    serial: str | None
    today: date

    @property
    def photo(self) -> Named:
        """Return the first photo."""
        return self.photos[0]

    def answer(self) -> Answer | Fault:
        """Return the new card's file, and what could not be used."""
        from api.card_measure import measure_card, written
        from api.job import measured_card
        from reader.card import standard_card

        card = standard_card()
        try:
            known = measured_card(card, self.beside) if self.beside else None
            found = measure_card(self.photos, known, card)
        except ValueError as fault:
            return Fault("unusable_photos", str(fault))
        text = written(found, self.serial, self.today)
        told = {"file": text, "notes": list(found.notes), "photos": found.photos}
        return Answer(told, {})
