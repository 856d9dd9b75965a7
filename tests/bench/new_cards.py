"""How well a new card is measured by photos, and what reading with it costs.

Each shop has its print, phone and lot. Its card is measured by an instrument, by photos beside a
card already measured, by photos beside a published 24-patch chart, or not at all; the same photos
of strips are then read with each.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np

from tests.bench.figures import summary
from tests.bench.photo_sets import Job, photo_of, setting_of
from tests.bench.readings import pad_row, table_of
from tests.bench.two_cards import Beside, measured_labs, photo, true_labs
from tests.render import strips
from tests.render.inks import Print
from tests.render.spectra import de00

TODAY = date(2026, 6, 1)
LIGHTS = ("daylight", "good_led", "daylight", "good_led", "daylight")
"""Lights of the photos that measure a card."""


def card_of(labs: Any) -> Any:
    """The layout with these colours (k, 3)."""
    from reader.card import standard_card, with_measured

    card = standard_card()
    return with_measured(
        card, {p.id: tuple(map(float, lab)) for p, lab in zip(card.patches, labs, strict=True)}
    )


def by_photos(shop: int, other: bool, chart: bool) -> Any:
    """The shop's card as photos tell it, or the sentence why they do not."""
    from api.card_measure import measure_card, written
    from api.job import measured_card
    from api.named import Named
    from reader.card import standard_card

    card, job = standard_card(), Job("card", "good", 0, other=other, shop=shop)
    old = None if chart else Print(shop + 5000, "plain", other=other)
    photos = []
    for k, light in enumerate(LIGHTS):
        what = Beside(setting_of(job).paper(), old, shop, light, other)
        photos.append(Named(f"{k}.jpg", photo(what, 1000 * shop + k + 500 * chart)))
    known = card_of(measured_labs(old, card)) if old else None
    try:
        found = measure_card(photos, known, card)
    except ValueError as refused:
        return str(refused)
    return measured_card(card, Named("new.txt", written(found, None, TODAY).encode()))


def cards(shop: int, other: bool) -> Mapping[str, Any]:
    """The shop's card in each way, by name."""
    from reader.card import standard_card

    card = standard_card()
    paper = setting_of(Job("card", "good", 0, other=other, shop=shop)).paper()
    ways = {
        "instrument": card_of(measured_labs(paper, card)),
        "beside_card": by_photos(shop, other, chart=False),
        "beside_chart": by_photos(shop, other, chart=True),
    }
    return {**ways, "nominal": card}


def read_with(card: Any, job: Job) -> list[dict[str, Any]]:
    """Rows of one photo read with this card and the instrument's table."""
    from api.measure import measure

    data, truth = photo_of(job)
    setting = setting_of(job)
    table, curves = table_of(setting.lot_seed, setting.family, None)
    reading = measure(data, card, table, None, curves)
    kind, shown = strips.FAMILIES[setting.family], truth["strips"][0]["pads"]
    base = {"seed": job.seed, "photo_reasons": list(reading.reasons), "kind": job.kind,
            "card_found": reading.seen.card_found, "strip_found": reading.seen.strip_found,
            "fault_pads": truth["fault_pads"], "ms": 0.0}  # fmt: skip
    return [base | pad_row(pad, shown[i], kind) for i, pad in enumerate(reading.pads)]


def figures(shops: Sequence[int], other: bool, tests: int) -> dict[str, Any]:
    """Colours of the cards, and readings with each."""
    from reader.card import standard_card

    off: dict[str, list[float]] = {}
    rows: dict[str, list[dict[str, Any]]] = {}
    refused: list[str] = []
    for shop in shops:
        paper = setting_of(Job("card", "good", 0, other=other, shop=shop)).paper()
        true = true_labs(Beside(paper, None, 0, ""), standard_card())
        for name, card in cards(shop, other).items():
            if isinstance(card, str):
                refused.append(f"{name}: {card}")
                continue
            labs = np.array([patch.lab for patch in card.patches])
            off.setdefault(name, []).extend(de00(labs, true).tolist())
            for k in range(tests):
                job = Job("card", "good", 100_000 * shop + 70_000 + k, other=other, shop=shop)
                rows.setdefault(name, []).extend(read_with(card, job))
    return {name: _told(off[name], rows[name]) for name in off} | {"refused": refused}


def _told(off: Sequence[float], rows: Sequence[dict[str, Any]]) -> dict[str, float]:
    read = summary(rows)
    keys = ("accepted", "de00_median", "de00_p95", "rms_steps", "coverage", "width_median")
    return {
        "card_de00_median": round(float(np.median(off)), 2),
        "card_de00_p95": round(float(np.quantile(off, 0.95)), 2),
        **{key: round(read[key], 3) for key in keys},
    }
