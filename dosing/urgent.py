"""What comes before everything else: spoilt water, a dose still mixing, impossible readings."""

from __future__ import annotations

from datetime import timedelta

from dosing.airing import air_step
from dosing.bands import band_of
from dosing.cautions import with_action
from dosing.course import numbered
from dosing.measuring import ask, expected
from dosing.procedure import Gate
from dosing.procedure_file import hours
from dosing.situation import Situation
from dosing.steps import Todo

TITRATED_TO = 4.5
"""The pH at which the titration of the total alkalinity ends (common practice)."""

TRACES = 5.0
"""So much alkalinity a strip may show where there is none [mg/L] (common practice)."""


def start_again(now: Situation) -> Todo | None:
    """A product that spoils the water for good was used: drain."""
    for never in now.procedure.nevers:
        if never.rule == "drain" and now.applies(never) and now.history.doses_of(never.kind):
            return Todo(
                now.history.next_id("drain"),
                "confirm",
                f"{never.text} Switch the power off and drain the tub whole; wipe it dry.",
                action="drain",
                why=(f"The log holds a dose of a {never.kind} product in this water.",),
                cautions=with_action("drain"),
            )
    return None


def drained(now: Situation) -> Todo | None:
    """Upkeep ends with the water: what is filled next begins with its start-up."""
    at = now.history.drained_at
    events = now.log.events
    if now.procedure.ends or at is None or not events or events[-1].at > at:
        return None
    return ask(
        now,
        "ask_new_water",
        "This tub was drained. Set its procedure to the start-up that fits it and begin again; or "
        "enter a reading of the new water, and upkeep goes on.",
        f"The water was drained at {now.offset(at)}; nothing is known of the next.",
    )


def mixing(now: Situation) -> Todo | None:
    """A dose or new water is still mixing."""
    still = now.mixing_ends()
    if still is None:
        return None
    ends, dose = still
    analytes: tuple[str, ...] = ()
    what, number = "new water", len(now.history.replaced)
    if dose is not None:
        product = now.history.product(dose)
        what, number = product.label, len(now.history.doses)
        analytes = tuple(
            analyte
            for (analyte, sample), standing in now.history.standings.items()
            if sample == "tub" and dose in standing.doses and standing.last is not None
        )
    ph_first = now.history.standing("total_alkalinity")
    gate = acid_for_alkalinity(now)
    if gate is not None and dose is not None and dose in ph_first.doses:
        return air_step(
            now,
            gate,
            dose.at + timedelta(hours=hours(gate.air) if gate.air else 3.0),
            "Acid went in for the alkalinity: now jets and air drive the carbon dioxide out.",
        )
    return Todo(
        numbered("wait_mixing", number),
        "wait",
        f"Let {what} mix: jets on, air closed, until the time given. Nothing else goes in.",
        not_before=ends,
        analytes=analytes,
        expect=expected(now, analytes, ends),
        why=(f"A reading counts only after {what} has mixed.",),
    )


def acid_for_alkalinity(now: Situation) -> Gate | None:
    """Return the alkalinity's gate if the last acid was meant for it."""
    for _, gate in now.gates():
        if isinstance(gate, Gate) and gate.analyte == "total_alkalinity" and gate.high:
            before = now.standing(gate).before
            acid = any(
                now.history.product(dose).kind == "acid" for dose in now.standing(gate).doses
            )
            if acid and before is not None and gate.id not in now.history.passed:
                return gate if before.mode > gate.high.value else None
    return None


def impossible(now: Situation) -> Todo | None:
    """Readings that cannot both be true are taken again."""
    return _free_above_total(now) or _alkalinity_without_its_ph(now)


def _alkalinity_without_its_ph(now: Situation) -> Todo | None:
    """Alkalinity is what acid must be given to reach a pH of about 4.5: under it there is none."""
    read = now.history.standing("total_alkalinity")
    alkalinity, ph = read.last, now.history.standing("ph").last
    if alkalinity is None or ph is None or read.band is None:
        return None
    together = abs(alkalinity.at - ph.at) < timedelta(hours=1)
    acid = band_of(ph).edges()[1] < TITRATED_TO
    if not (together and acid and band_of(alkalinity).edges()[0] > TRACES):
        return None
    return _again(
        numbered("measure_alkalinity_again", read.count),
        "pH and total alkalinity: the two cannot both be right",
        ("total_alkalinity", "ph"),
        "An alkalinity like that cannot be at such a pH, whichever of the two is wrong.",
    )


def _free_above_total(now: Situation) -> Todo | None:
    """Free chlorine is a part of the total."""
    free, total = now.history.standing("free_chlorine"), now.history.standing("total_chlorine")
    if free.band is None or total.band is None or free.at is None or total.at is None:
        return None
    together = abs(free.at - total.at) < timedelta(hours=1)
    if together and free.band.edges()[0] > total.band.edges()[1]:
        return _again(
            numbered("measure_chlorine_again", free.count),
            "free and total chlorine: free cannot exceed total",
            ("free_chlorine", "total_chlorine"),
            "Free chlorine was read above total chlorine, beyond both bands.",
        )
    return None


def _again(name: str, what: str, analytes: tuple[str, ...], why: str) -> Todo:
    """Return the dip that settles two readings which cannot both be true."""
    text = f"Dip again and read {what}. Use a fresh strip, dry fingers, and each pad's own time."
    return Todo(name, "measure", text, analytes=analytes, why=(why,))


def air_after_acid(now: Situation, gate: Gate) -> Todo | None:
    """Return the wait with air that follows acid given for a high alkalinity."""
    if gate.analyte != "total_alkalinity" or acid_for_alkalinity(now) is None:
        return None
    rest = timedelta(hours=hours(gate.air) if gate.air else 3.0)
    ends = now.standing(gate).doses[-1].at + rest
    reason = "Acid went in for the alkalinity: now jets and air drive the carbon dioxide out."
    return air_step(now, gate, ends, reason) if ends > now.at else None
