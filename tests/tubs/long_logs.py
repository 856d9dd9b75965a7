"""Long logs for the clock: a tub in its days, as many events as asked for."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import numpy as np

from tests.tubs.draw import PRODUCTS
from tests.tubs.strips import UNITS
from tests.tubs.trade import START

LEVELS = {"ph": 7.5, "free_chlorine": 4.0, "total_alkalinity": 90.0, "calcium_hardness": 50.0,
          "salt": 1750.0, "phosphate": 120.0}  # fmt: skip


def long_log(count: int, procedure: str = "upkeep", seed: int = 1) -> tuple[str, Any]:
    """A log of `count` events, an hour apart, and the moment after the last."""
    rng = np.random.default_rng(seed)
    now, events = START, []
    for place in range(count):
        now += timedelta(hours=1)
        stamp = now.isoformat()
        if place % 9 == 8:
            events.append(
                {"at": stamp, "type": "dose", "product": "chlorine-1", "amount_g": 10.0 + place % 7}
            )
            continue
        analyte = list(LEVELS)[place % len(LEVELS)]
        value = float(LEVELS[analyte] * rng.normal(1, 0.01 if analyte == "ph" else 0.07))
        band = {"value": value, "low": value * 0.9, "high": value * 1.1}
        if analyte == "ph":
            band |= {"low": value - 0.2, "high": value + 0.2}
        event = {"at": stamp, "type": "reading", "analyte": analyte, "unit": UNITS[analyte]}
        events.append({**event, **band, "source": "photo", "sample": "tub"})
    tub = {
        "name": "Long Tub",
        "volume_l": 1250,
        "temperature_c": 38.0,
        "sanitizer": "salt_chlorine",
        "has_sensor": True,
    }
    log = {"tub": tub, "procedure": procedure, "products": list(PRODUCTS), "events": events}
    return json.dumps(log), now + timedelta(minutes=5)
