"""Photos read again with a newer table or card: old and new side by side; nothing is changed."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

from api.cli.common import UnusableError, complain, read_text
from api.cli.crew import answers, crew_size
from api.cli.photo_files import labels, load
from api.cli.readings import Told, made_with, told_of
from api.look import FusedLook, Look, Wish
from api.named import Named
from api.workers import Fault, Task

CURE = "name a file that `dipstep read --json` wrote"
NEEDED = ("analyte", "unit", "value", "low", "high", "status")
REFUSED = "refused"


class RefusedError(Exception):
    """A photo that cannot be read again; the message is the one sentence for the person."""


@dataclass(frozen=True, eq=False)
class Before:
    """One reading made before, with what it was made from."""

    line: Mapping[str, Any]
    folder: Path
    """Where the file of readings lies: its paths may be relative to it."""

    @property
    def made(self) -> Mapping[str, Any]:
        """Return what the reading was made with."""
        made: Mapping[str, Any] = self.line["made_with"]
        return made

    @property
    def photos(self) -> list[tuple[str, str]]:
        """Return path and hash of each photo; raise RefusedError where they were not kept."""
        hashes = self.made["photo"]
        if isinstance(hashes, str):
            return [(self.line["photo"], hashes)]
        names = self.line.get("photos")
        if not hashes or not names or len(names) != len(hashes):
            raise RefusedError(
                f"{self.line['photo']}: was never read, so there is nothing to read again; "
                "name the photo itself"
            )
        return list(zip(names, hashes, strict=True))


def again(readings: Path, wish: Wish, jobs: int | None = None) -> Iterator[Told]:
    """Yield each reading of the file made again, the one before under the key `before`.

    What cannot be made again is told in one sentence and left out. Card and layout are those of
    the reading before where `wish` names none; so is the time since the dip.

    Raises UnusableError when the file, the table or the card cannot be used.
    """
    every = read_lines(readings)
    wishes: dict[int, Wish] = {}

    def looks() -> Iterator[Task | Fault]:
        for place, before in enumerate(every):
            try:
                wishes[place] = wish_again(before, wish)
                yield look_again(before, wishes[place])
            except RefusedError as fault:
                yield Fault(REFUSED, str(fault))

    names = labels([Path(one.line["photo"]) for one in every])
    said = answers(looks(), crew_size(jobs, len(every)))
    for place, (before, one) in enumerate(zip(every, said, strict=True)):
        if isinstance(one, Fault) and one.code == REFUSED:
            complain(one.message)
            continue
        more = made_with(wishes[place], before.made["photo"])
        told = told_of(before.line["photo"], names[place], one, more)
        old = {key: value for key, value in before.line.items() if key != "before"}
        yield Told({**told.answer, "before": old}, told.read, told.pictures)


def read_lines(path: Path) -> list[Before]:
    """Return the readings in a file; say in one sentence which line is none."""
    folder, found = path.parent, []
    for number, text in enumerate(read_text(path).splitlines(), 1):
        if text.strip():
            found.append(Before(_reading(text, f"{path}, line {number}"), folder))
    if not found:
        raise UnusableError(f"{path}: holds no readings; {CURE}")
    return found


def _reading(text: str, place: str) -> Mapping[str, Any]:
    try:
        line = json.loads(text)
    except (ValueError, RecursionError):
        raise UnusableError(f"{place}: is no JSON; {CURE}") from None
    if not isinstance(line, dict) or not _is_reading(line):
        raise UnusableError(f"{place}: is no reading; {CURE}")
    if not _is_made(line.get("made_with")):
        raise UnusableError(
            f"{place}: does not say what the reading was made with (`made_with`); "
            "read the photo itself again"
        )
    return line


def _is_reading(line: Mapping[str, Any]) -> bool:
    pads, photos = line.get("readings"), line.get("photos", [])
    if not isinstance(pads, list) or not all(isinstance(pad, dict) for pad in pads):
        return False
    whole = isinstance(line.get("photo"), str) and isinstance(line.get("status"), str)
    names = isinstance(photos, list) and all(isinstance(name, str) for name in photos)
    return whole and names and all(_is_pad(pad) for pad in pads)


def _is_pad(pad: Mapping[str, Any]) -> bool:
    numbers = all(
        pad.get(key) is None or (isinstance(pad[key], int | float) and abs(pad[key]) < 1e12)
        for key in ("value", "low", "high")
    )
    words = all(isinstance(pad.get(key), str) for key in ("analyte", "unit", "status"))
    return isinstance(pad.get("pad"), int) and words and numbers and set(NEEDED) <= pad.keys()


def _is_made(made: object) -> bool:
    if not isinstance(made, dict) or "photo" not in made:
        return False
    hashes = made["photo"]
    files = [made.get(key) for key in ("table", "card", "layout")]
    listed = isinstance(hashes, list) and all(isinstance(one, str) for one in hashes)
    return (hashes is None or isinstance(hashes, str) or listed) and all(
        one is None
        or (
            isinstance(one, dict)
            and isinstance(one.get("file"), str)
            and isinstance(one.get("sha256"), str)
        )
        for one in files
    )


def wish_again(before: Before, wish: Wish) -> Wish:
    """Return what to read with: what is newly named, and of the rest what stood before."""
    elapsed_s, dipped_at = before.made.get("elapsed_s"), before.made.get("dipped_at")
    if "elapsed_s" not in before.made:
        elapsed_s = before.line.get("elapsed_s")
    return replace(
        wish,
        measured=wish.measured or _kept(before, "card"),
        layout=wish.layout or _kept(before, "layout"),
        elapsed_s=_seconds(elapsed_s),
        dipped_at=_moment(dipped_at),
    )


def _seconds(told: object) -> float | None:
    usable = isinstance(told, int | float) and 0.0 <= told <= 86_400.0
    return float(told) if usable and isinstance(told, int | float) else None


def _moment(text: object) -> datetime | None:
    try:
        when = datetime.fromisoformat(text) if isinstance(text, str) else None
    except ValueError:
        return None
    return when if when is not None and when.tzinfo is not None else None


def _kept(before: Before, what: str) -> Named | None:
    """Return the card or layout a reading was made with; refuse one that is not what it was."""
    kept = before.made.get(what)
    if kept is None:
        return None
    file = _opened(before.folder, kept["file"], kept["sha256"])
    if file is None:
        raise RefusedError(
            f"{before.line['photo']}: its {what} {kept['file']} is gone or no longer what it was; "
            f"name one with --{what}"
        )
    return file


@cache
def _opened(folder: Path, name: str, fingerprint: str) -> Named | None:
    for path in (Path(name), folder / name):
        file = load(path)
        if isinstance(file, Named) and file.sha256 == fingerprint:
            return file
    return None


def look_again(before: Before, wish: Wish) -> Task:
    """Return the work of reading the same photos again; refuse what is not the same."""
    photos = [_same(before.folder, name, known) for name, known in before.photos]
    if "photos" in before.line:
        return FusedLook(tuple(photos), wish)
    return Look(photos[0], wish)


def _same(folder: Path, name: str, known: str) -> Named:
    """Return a photo with the bytes it had, under the name it had."""
    there = [file for file in map(load, (Path(name), folder / name)) if isinstance(file, Named)]
    if not there:
        raise RefusedError(
            f"{name}: is gone, so it cannot be read again; put it back where it was read"
        )
    for file in there:
        if file.sha256 == known:
            return Named(name, file.data)
    raise RefusedError(
        f"{name}: is no longer the photo that was read (its bytes changed); "
        "put the first one back, or read this one by itself"
    )


def side_by_side(answer: Mapping[str, Any], verdict: Callable[[str], str]) -> str:
    """Return both readings as a table for people."""
    from api.words import plain

    before = answer["before"]
    same = before["status"] == answer["status"]
    was = "as before" if same else f"before: {verdict(before['status'])}"
    lines = [f"{answer['photo']}   {verdict(answer['status'])} ({was})"]
    lines += [f"  {text}" for text in _files(before["made_with"], answer["made_with"])]
    lines.append(f"     {'':<18}{'before':<44}now")
    for old, new in _pairs(before["readings"], answer["readings"]):
        known = new or old or {}
        mark = "" if _same_answer(old, new) else "changed"
        shown = f"{_cell(old, verdict):<44}{_cell(new, verdict):<44}{mark}"
        lines.append(f"  {known['pad']}  {plain(known['analyte']):<18}{shown}".rstrip())
    return "\n".join(lines)


def _pairs(
    old: Sequence[Mapping[str, Any]], new: Sequence[Mapping[str, Any]]
) -> Iterator[tuple[Mapping[str, Any] | None, Mapping[str, Any] | None]]:
    """Yield each pad as it was and as it is; a pad for something else now is another pad."""
    by_old, by_new = (
        {(pad["pad"], pad["analyte"], pad["unit"]): pad for pad in every} for every in (old, new)
    )
    for key in sorted({*by_old, *by_new}):
        yield by_old.get(key), by_new.get(key)


def _same_answer(old: Mapping[str, Any] | None, new: Mapping[str, Any] | None) -> bool:
    if old is None or new is None:
        return False
    return all(old[key] == new[key] for key in ("value", "low", "high", "status"))


def _cell(pad: Mapping[str, Any] | None, verdict: Callable[[str], str]) -> str:
    from api.words import band, value_of

    if pad is None:
        return "not on this strip"
    if pad["value"] is None:
        return verdict(pad["status"])
    return f"{value_of(pad)} ({band(pad['low'], pad['high'])}) {verdict(pad['status'])}"


def _files(before: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[str]:
    """Yield a line for table, card and layout: what it was and what it is."""
    for what in ("table", "card", "layout"):
        old, new = before.get(what), now.get(what)
        if old is None and new is None:
            continue
        same = old is not None and new is not None and old["sha256"] == new["sha256"]
        yield (
            f"{what}: {_version(new)}, as before"
            if same
            else (f"{what}: {_version(old)} before, {_version(new)} now")
        )


def _version(file: Mapping[str, str] | None) -> str:
    return "none" if file is None else f"{file['file']} [{file['sha256'][:8]}]"
