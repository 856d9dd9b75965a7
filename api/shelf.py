"""The shelf of kept files, by kind, name and version; nothing is changed in place."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Literal

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.named import Named
from api.store import KeptFile, Retired

Kind = Literal["table", "card", "products", "procedure"]
NAME_LENGTH = 120


def put(
    session: Session, kind: Kind, name: str, file: Named, now: datetime, by: str
) -> tuple[KeptFile, bool]:
    """Keep a file as the next version of its name, and say whether it is new.

    Raises ValueError, one sentence with place and cure, when the file cannot be used.
    """
    from api import goods

    facts = check(kind, file)
    name = goods.checked_name(kind, name)
    if kind == "products":
        goods.check_beside(session, name, facts["products"])
    newest = latest(session, kind, name)
    if newest is not None and newest.sha256 == file.sha256:
        return newest, False
    kept = KeptFile(
        kind=kind,
        name=name,
        version=1 if newest is None else newest.version + 1,
        file_name=file.name[-255:],
        sha256=file.sha256,
        data=file.data,
        facts=facts,
        added_at=now,
        added_by=by,
    )
    session.add(kept)
    session.flush()
    return kept, True


def check(kind: Kind, file: Named) -> dict[str, Any]:
    """Return what the file says of itself; raise ValueError when it cannot be used."""
    if kind == "table":
        from api.table_units import check_units
        from calibration.table import load_table, plans_of

        table = load_table(file.text(), file.name)
        check_units(plans_of(table), file.name)
        pads = [
            {"pad": chart.pad, "analyte": chart.analyte, "unit": chart.unit,
             "read_after_s": chart.read_after_s}
            for chart in table.charts
        ]  # fmt: skip
        return {"strip": table.strip, "lot": table.lot, "pads": pads}
    if kind in ("products", "procedure"):
        from api import goods

        listed = kind == "products"
        return {"products": goods.products_of_file(file)} if listed else goods.procedure_facts(file)
    from api.job import measured_card
    from reader.card import standard_card
    from reader.card_files import read_facts

    card = measured_card(standard_card(), file)
    said = read_facts(file.data)
    known = {"serial": said.serial, "measured_on": said.measured_on}
    told = {key: value for key, value in known.items() if value}
    return {"design": card.design, "patches": len(card.patches), **told}


def latest(session: Session, kind: Kind, name: str, version: int | None = None) -> KeptFile | None:
    """Return the newest version of a name, or the version asked for."""
    query = select(KeptFile).where(KeptFile.kind == kind, KeptFile.name == name)
    if version is not None:
        query = query.where(KeptFile.version == version)
    return session.scalars(query.order_by(KeptFile.version.desc()).limit(1)).first()


def offered(session: Session, kind: Kind) -> list[KeptFile]:
    """Return the newest version of every name that is not retired, by name."""
    newest = (
        select(KeptFile.name, func.max(KeptFile.version).label("version"))
        .where(KeptFile.kind == kind)
        .group_by(KeptFile.name)
        .subquery()
    )
    query = select(KeptFile).join(
        newest, (KeptFile.name == newest.c.name) & (KeptFile.version == newest.c.version)
    )
    kept = session.scalars(query.where(KeptFile.kind == kind).order_by(KeptFile.name)).all()
    gone = {
        one.name: one.after_version
        for one in session.scalars(select(Retired).where(Retired.kind == kind))
    }
    return [one for one in kept if one.version > gone.get(one.name, 0)]


def versions(session: Session, kind: Kind) -> list[KeptFile]:
    """Return every version ever kept, newest first within a name."""
    query = select(KeptFile).where(KeptFile.kind == kind)
    return list(session.scalars(query.order_by(KeptFile.name, KeptFile.version.desc())))


def retire(session: Session, kind: Kind, name: str, now: datetime, by: str) -> bool:
    """Offer a name no longer; say whether there was such a name."""
    newest = latest(session, kind, name)
    if newest is None:
        return False
    session.add(Retired(kind=kind, name=name, after_version=newest.version, at=now, by=by))
    return True


def named(kept: KeptFile) -> Named:
    """Return the kept file's bytes with the name to use in messages."""
    return Named(kept.file_name, kept.data)
