"""The control water by strip lot and analyte: dips, limits, signatures; rows are only added."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Index, String, Text, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from api import shelf
from api.books import Desk
from api.named import Named
from api.store import Base, KeptFile
from calibration.control import (
    FEWEST_TO_SET,
    ControlLimits,
    ControlReading,
    ControlState,
    Signed,
    control_state,
    limits_of,
)
from dosing.analytes import ANALYTES

REASON = "control_broken"
"""The reason code that a reading bears while its control is broken and not signed off."""


class ControlDip(Base):
    """One analyte of one dip into the control water."""

    __tablename__ = "control_dip"
    id: Mapped[int] = mapped_column(primary_key=True)
    lot: Mapped[str] = mapped_column(String(250))
    analyte: Mapped[str] = mapped_column(String(40))
    value: Mapped[float]
    at: Mapped[datetime]
    name: Mapped[str] = mapped_column(String(255))
    entered_at: Mapped[datetime]
    entered_by: Mapped[str] = mapped_column(String(80))
    __table_args__ = (Index("ix_control_dip_lot_analyte", "lot", "analyte"),)


class ControlSet(Base):
    """Limits that were set for a lot's analyte; the newest count."""

    __tablename__ = "control_set"
    id: Mapped[int] = mapped_column(primary_key=True)
    lot: Mapped[str] = mapped_column(String(250))
    analyte: Mapped[str] = mapped_column(String(40))
    mean: Mapped[float]
    sd: Mapped[float]
    n: Mapped[int]
    at: Mapped[datetime]
    by: Mapped[str] = mapped_column(String(80))


class ControlSigned(Base):
    """A person's word that the control is right again."""

    __tablename__ = "control_signed"
    id: Mapped[int] = mapped_column(primary_key=True)
    lot: Mapped[str] = mapped_column(String(250))
    analyte: Mapped[str] = mapped_column(String(40))
    why: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime]
    by: Mapped[str] = mapped_column(String(80))


@dataclass(frozen=True)
class ControlLine:
    """One lot's analyte: its readings, limits, signatures and what follows."""

    lot: str
    analyte: str
    readings: tuple[ControlReading, ...]
    limits: ControlLimits | None
    signed: tuple[Signed, ...]
    state: ControlState


def lot_of(table: KeptFile) -> str:
    """Return the strip and lot of a table: its versions share their control."""
    return strip_and_lot(table.facts, table.name)


def strip_and_lot(facts: Mapping[str, Any], name: str) -> str:
    """Return strip and lot as a table's facts tell them."""
    return f"{facts.get('strip', name)}, lot {facts.get('lot', '-')}"


def enter(
    session: Session, lot: str, values: Mapping[str, float], at: datetime, name: str, desk: Desk
) -> None:
    """Enter the values of one dip; raise ValueError for an analyte or value that cannot be."""
    if at > desk.now:
        raise ValueError("the control was dipped in the future; correct the time")
    name = name[-255:]
    for analyte, value in values.items():
        known = ANALYTES.get(analyte)
        if known is None:
            raise ValueError(f"analyte: {analyte!r} is unknown; known are {', '.join(ANALYTES)}")
        if not 0.0 <= value <= known.most:
            raise ValueError(f"value: {value:g} cannot be; give 0 to {known.most:g} {known.unit}")
        session.add(
            ControlDip(
                lot=lot,
                analyte=analyte,
                value=value,
                at=at,
                name=name,
                entered_at=desk.now,
                entered_by=desk.by,
            )
        )


def enter_photo(
    session: Session, lot: str, photo: Named, reading: Mapping[str, Any], desk: Desk
) -> tuple[str, ...]:
    """Enter what was accepted of a photo of the control; return the analytes that were not.

    Raises ValueError for a photo that was entered before, or of which nothing was accepted.
    """
    mark = f"{photo.name[-200:]} [{photo.sha256[:12]}]"
    query = select(ControlDip.at).where(ControlDip.lot == lot, ControlDip.name.endswith(mark[-14:]))
    before = session.scalars(query.limit(1)).first()
    if before is not None:
        raise ValueError(
            f"this photo was entered on {before:%Y-%m-%d}; dip the control water again, "
            "and photograph that strip"
        )
    pads = [pad for pad in reading["readings"] if pad["analyte"] in ANALYTES]
    values = {pad["analyte"]: pad["value"] for pad in pads if pad["status"] == "accepted"}
    if not values:
        raise ValueError("no pad of this photo was accepted; dip again in better light")
    enter(session, lot, values, desk.now, mark, desk)
    return tuple(pad["analyte"] for pad in pads if pad["analyte"] not in values)


def set_limits(session: Session, lot: str, analyte: str, desk: Desk) -> ControlLimits:
    """Set the limits from the dips so far; raise ValueError when they are too few or all alike."""
    values = [dip.value for dip in dips(session, lot, analyte)]
    if len(values) < FEWEST_TO_SET:
        raise ValueError(
            f"{len(values)} control readings of {analyte} are too few to set limits; "
            f"dip the control water {FEWEST_TO_SET} times or more"
        )
    limits = limits_of(values)
    row = {"mean": limits.mean, "sd": limits.sd, "n": limits.n, "at": desk.now, "by": desk.by}
    session.add(ControlSet(lot=lot, analyte=analyte, **row))
    return limits


def sign_off(session: Session, lot: str, analyte: str, why: str, desk: Desk) -> None:
    """Keep a person's word that the control is right again; raise ValueError without a reason."""
    if not why.strip():
        raise ValueError("why: is empty; say what was found and done before signing off")
    session.add(ControlSigned(lot=lot, analyte=analyte, why=why, at=desk.now, by=desk.by))


def dips(session: Session, lot: str, analyte: str) -> Sequence[ControlDip]:
    """Return the dips of a lot's analyte in order of time."""
    query = select(ControlDip).where(ControlDip.lot == lot, ControlDip.analyte == analyte)
    return session.scalars(query.order_by(ControlDip.at, ControlDip.id)).all()


def lines(session: Session) -> tuple[ControlLine, ...]:
    """Return every lot's analyte that has a control."""
    query = select(ControlDip.lot, ControlDip.analyte).distinct()
    return tuple(
        line(session, lot, analyte)
        for lot, analyte in sorted(tuple(row) for row in session.execute(query))
    )


def line(session: Session, lot: str, analyte: str) -> ControlLine:
    """Return what is known of one lot's analyte.

    Dips entered before the limits were set are not judged; one entered later is, however early
    it was dipped.
    """

    def of(kind: Any) -> Any:
        mine = select(kind).where(kind.lot == lot, kind.analyte == analyte).order_by(kind.id)
        return session.scalars(mine).all()

    sets = of(ControlSet)
    limits = ControlLimits(sets[-1].mean, sets[-1].sd, sets[-1].n) if sets else None
    readings = tuple(
        ControlReading(
            dip.at, dip.value, lot, analyte, dip.name, bool(sets) and dip.entered_at > sets[-1].at
        )
        for dip in dips(session, lot, analyte)
    )
    signed = tuple(Signed(one.at, one.by, one.why) for one in of(ControlSigned))
    judged = [one for one in readings if one.judged]
    return ControlLine(
        lot, analyte, readings, limits, signed, control_state(judged, limits, signed)
    )


def broken_for(session: Session, table: KeptFile) -> frozenset[str]:
    """Return the analytes of a table's lot whose control is broken and not signed off."""
    lot = lot_of(table)
    names = session.scalars(select(ControlSet.analyte).where(ControlSet.lot == lot).distinct())
    return frozenset(
        name for name in names.all() if line(session, lot, name).state.state == "recheck"
    )


def broken_under(session: Session, table: Named | str | None) -> frozenset[str]:
    """Return the same for a table by its kept name; a file that was sent has no control."""
    kept = shelf.latest(session, "table", table) if isinstance(table, str) else None
    return broken_for(session, kept) if kept else frozenset()


def held_back(reading: Mapping[str, Any], broken: frozenset[str]) -> dict[str, Any]:
    """Return the reading with the pads of broken controls put on recheck, and why."""
    pads = [_held(pad) if pad["analyte"] in broken else pad for pad in reading["readings"]]
    changed = any(a is not b for a, b in zip(pads, reading["readings"], strict=True))
    status = "recheck" if changed and reading["status"] == "accepted" else reading["status"]
    return {**reading, "readings": pads, "status": status}


def _held(pad: Mapping[str, Any]) -> Mapping[str, Any]:
    if pad["status"] != "accepted":
        return pad
    return {**pad, "status": "recheck", "reasons": [*pad["reasons"], REASON]}
