"""What a run of readings needs, made ready once: card, table, curves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from api.measure import curves_of
from api.named import Named
from calibration.curve import Curve
from calibration.table import Table, load_table
from reader.card import Card, load_card, standard_card, with_measured
from reader.card_files import print_sd_of, read_measured
from reader.errors import CardFileError


@dataclass(frozen=True, eq=False)
class Job:
    """The card in the photos, the strip's table, and its fitted curves by pad."""

    card: Card
    table: Table
    curves: Mapping[int, Curve]


def prepare(table: Named, measured: Named | None = None, layout: Named | None = None) -> Job:
    """Load what a reading needs; raise ValueError (one sentence) for what cannot be used."""
    card = load_card(layout.text(), layout.name) if layout else standard_card()
    if measured:
        card = measured_card(card, measured)
    loaded = load_table(table.text(), table.name)
    return Job(card, loaded, curves_of(loaded))


def measured_card(card: Card, measured: Named) -> Card:
    """Return the card with the measured colours in this file."""
    colours = read_measured(measured.data, measured.name)
    try:
        own = with_measured(card, colours)
        return replace(own, print_sd=print_sd_of(measured.data))
    except CardFileError as fault:
        raise CardFileError(f"{measured.name}: {fault}") from None
