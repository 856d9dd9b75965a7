"""What the keeper's pages ask of the reading processes, beside reading strips."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from api.look import UNUSABLE
from api.named import Named
from api.workers import Answer, Fault

if TYPE_CHECKING:
    from api.chart import Grid


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


@dataclass(frozen=True)
class StripTask:
    """One photo of a strip dipped in a water of known value."""

    photo: Named
    strip: Named
    """The strip's pads, as `strip.csv` has them."""
    measured: Named | None

    def answer(self) -> Answer | Fault:
        """Return each pad's colour, or why it has none."""
        from api.job import measured_card
        from api.table_build import colours_of
        from calibration.table import load_strip
        from reader.card import standard_card
        from reader.errors import PhotoError

        try:
            plans = load_strip(self.strip.text(), self.strip.name)
            card = standard_card()
            card = measured_card(card, self.measured) if self.measured else card
        except ValueError as fault:
            return Fault(UNUSABLE, str(fault))
        try:
            found = colours_of(self.photo.data, self.photo.name, plans, card)
        except PhotoError as fault:
            return Fault("not_an_image", f"{self.photo.name}: {fault}")
        pads: list[dict[str, Any]] = []
        for plan, one in zip(plans, found, strict=True):
            lab = None if isinstance(one, str) else [round(float(part), 3) for part in one.lab]
            trouble = one if isinstance(one, str) else None
            pads.append({"pad": plan.pad, "analyte": plan.analyte, "lab": lab, "trouble": trouble})
        told = {"photo": self.photo.name, "sha256": self.photo.sha256, "pads": pads}
        return Answer(told, {})


@dataclass(frozen=True)
class ChartTask:
    """One photo of the printed chart beside the card, with the grid laid over it."""

    photo: Named
    grid: Grid
    measured: Named | None = None

    def answer(self) -> Answer | Fault:
        """Return the colours of the chart's blocks and the table they make."""
        from api.chart import read_chart
        from reader.errors import PhotoError

        try:
            return Answer(read_chart(self.photo, self.grid, self.measured), {})
        except PhotoError as fault:
            return Fault("not_an_image", f"{self.photo.name}: {fault}")
        except ValueError as fault:
            return Fault(UNUSABLE, str(fault))
