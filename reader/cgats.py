"""CGATS.17 text: tables of colours by sample, as measuring programs write them.

The parts read here: keywords, BEGIN_DATA_FORMAT to END_DATA_FORMAT, BEGIN_DATA to END_DATA,
values in quotes, comments from `#`, several tables in a file (ANSI CGATS.17-2009). Colours are
taken from LAB fields, else from XYZ fields, else worked out from spectra.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from reader.cgats_colour import colour_of
from reader.errors import CardFileError

Lab = tuple[float, float, float]
NAME_FIELDS = ("SAMPLE_ID", "SAMPLE_LOC", "SAMPLE_NAME")
"""Where the patch's name may stand. Programs that number the samples keep it in the others."""
FACTS = ("SERIAL", "CREATED", "MEASUREMENT_SOURCE")
"""Keywords of the standard for what `CardFacts` holds, in its order."""
ABOUT_LIGHT = re.compile("ILLUMINA|OBSERVER|WEIGHTING_FUNCTION")
"""Keywords that say for which light and observer the colours are."""
PLAIN = re.compile(r"[A-Za-z0-9_.-]+")
TOKEN = re.compile(r'"((?:[^"]|"")*)"|(\S+)')


@dataclass(frozen=True)
class Word:
    """One value and the line it stands in."""

    text: str
    line: int
    quoted: bool = False


@dataclass(frozen=True)
class Table:
    """One table: its fields and its rows."""

    fields: tuple[str, ...]
    rows: tuple[tuple[Word, ...], ...]


@dataclass(frozen=True)
class CardFacts:
    """What a measured card says of itself."""

    serial: str | None = None
    measured_on: str | None = None
    source: str | None = None
    """How it was measured, in words."""


def read_cgats(text: str, name: str) -> dict[str, Lab]:
    """Return the colours by patch of CGATS.17 text; `name` is used in messages."""
    words = list(_words(text))
    tables = list(_tables(words, name))
    stated = _stated(words)
    coloured = [t for t in tables if colour_of(t.fields, stated, name) is not None]
    if not coloured:
        fields = ", ".join(tables[0].fields[:8]) if tables else "none"
        raise CardFileError(
            f"{name}: no table with the fields LAB_L, LAB_A, LAB_B (fields: {fields}); "
            "export the measurement as Lab under D50, 2 degree, or as spectra"
        )
    found: dict[str, Lab] = {}
    for table in coloured:
        for patch, lab, line in _colours(table, stated, name):
            if patch in found:
                raise CardFileError(
                    f"{name}, line {line}: patch {patch!r} stands twice; "
                    "average its measurements or leave one row"
                )
            found[patch] = lab
    return found


def read_facts(text: str) -> CardFacts:
    """Return what the keywords SERIAL, CREATED and MEASUREMENT_SOURCE give."""
    said: dict[str, str] = {}
    words = list(_words(text))
    for word, following in pairwise(words):
        if _is(word, "BEGIN_DATA"):
            break
        if word.text.upper() in FACTS and not word.quoted:
            said.setdefault(word.text.upper(), following.text.strip())
    return CardFacts(*(said.get(key) or None for key in FACTS))


def write_cgats(
    lab: Mapping[str, Lab], originator: str = "dipstep", facts: CardFacts | None = None
) -> str:
    """Return the colours as CGATS.17 text."""
    known = facts or CardFacts()
    pairs = zip(FACTS, (known.serial, known.measured_on, known.source), strict=True)
    said = "".join(f"{key} {_quoted(value)}\n" for key, value in pairs if value)
    rows = "".join(
        f"{_written(patch)}\t{v[0]:.4f}\t{v[1]:.4f}\t{v[2]:.4f}\n" for patch, v in lab.items()
    )
    return (
        f'CGATS.17\nORIGINATOR "{originator}"\n{said}WEIGHTING_FUNCTION "ILLUMINANT, D50"\n'
        'WEIGHTING_FUNCTION "OBSERVER, 2 degree"\nNUMBER_OF_FIELDS 4\nBEGIN_DATA_FORMAT\n'
        f"SAMPLE_ID\tLAB_L\tLAB_A\tLAB_B\nEND_DATA_FORMAT\nNUMBER_OF_SETS {len(lab)}\n"
        f"BEGIN_DATA\n{rows}END_DATA\n"
    )


def _written(patch: str) -> str:
    """Return a name, in quotes only where it needs them: some programs keep them as part of it."""
    return patch if PLAIN.fullmatch(patch) else _quoted(patch)


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


def _stated(words: Sequence[Word]) -> str:
    """Return all that the keywords say of illuminant and observer, in small letters."""
    said, inside = [], False
    for word, following in pairwise([*words, Word("", 0)]):
        inside = (inside or _is(word, "BEGIN_DATA")) and not _is(word, "END_DATA")
        if not inside and not word.quoted and ABOUT_LIGHT.search(word.text.upper()):
            said.append(f"{word.text} {following.text}".lower())
    return "; ".join(said)


def _words(text: str) -> Iterator[Word]:
    for number, line in enumerate(text.splitlines(), start=1):
        for token in TOKEN.finditer(line):
            quoted, plain = token.groups()
            if plain is not None and plain.startswith("#"):
                break
            if plain is None:
                yield Word(quoted.replace('""', '"'), number, quoted=True)
            else:
                yield Word(plain, number)


def _tables(words: Sequence[Word], name: str) -> Iterator[Table]:
    """Yield the tables; a table without own format has that of the one before."""
    fields: tuple[str, ...] = ()
    announced: int | None = None
    at = 0
    while at < len(words):
        word = words[at]
        if _is(word, "BEGIN_DATA_FORMAT"):
            inside, at = _until(words, at, "END_DATA_FORMAT", name)
            fields = tuple(w.text.upper() for w in inside)
        elif _is(word, "NUMBER_OF_SETS") and at + 1 < len(words):
            announced = int(words[at + 1].text) if words[at + 1].text.isdecimal() else None
        elif _is(word, "BEGIN_DATA"):
            inside, at = _until(words, at, "END_DATA", name)
            yield Table(fields, tuple(_rows(inside, fields, announced, word.line, name)))
            announced = None
        at += 1


def _is(word: Word, keyword: str) -> bool:
    return not word.quoted and word.text.upper() == keyword


def _until(words: Sequence[Word], at: int, keyword: str, name: str) -> tuple[Sequence[Word], int]:
    for stop in range(at + 1, len(words)):
        if _is(words[stop], keyword):
            return words[at + 1 : stop], stop
    raise CardFileError(
        f"{name}, line {words[at].line}: {words[at].text} has no {keyword}; "
        "the file is cut off, export it again"
    )


def _rows(
    words: Sequence[Word], fields: Sequence[str], announced: int | None, line: int, name: str
) -> Iterable[tuple[Word, ...]]:
    """Return the rows; each is one line, as every program writes them."""
    if not fields:
        raise CardFileError(
            f"{name}, line {line}: data without BEGIN_DATA_FORMAT before it; export the file again"
        )
    by_line: dict[int, list[Word]] = {}
    for word in words:
        by_line.setdefault(word.line, []).append(word)
    for number, row in by_line.items():
        if len(row) != len(fields):
            raise CardFileError(
                f"{name}, line {number}: {len(row)} values for {len(fields)} fields; "
                "give one value a field, names with blanks in quotes"
            )
    if announced is not None and announced != len(by_line):
        raise CardFileError(
            f"{name}: NUMBER_OF_SETS says {announced} rows, but there are {len(by_line)}; "
            "the file is cut off or was changed, export it again"
        )
    return [tuple(row) for row in by_line.values()]


def _colours(table: Table, stated: str, name: str) -> Iterator[tuple[str, Lab, int]]:
    """Yield patch, colour and line of each row."""
    names = _name_column(table)
    if names is None:
        raise CardFileError(
            f"{name}: the table has no field SAMPLE_ID; name each row's patch in such a field"
        )
    found = colour_of(table.fields, stated, name)
    if found is None:  # such tables were left out before
        return
    columns, to_lab = found
    numbers = [[_number(row[c], table.fields[c], name) for c in columns] for row in table.rows]
    for row, lab in zip(table.rows, to_lab(numbers), strict=True):
        yield row[names].text.strip(), lab, row[0].line


def _name_column(table: Table) -> int | None:
    """Return the column of the patches' names: SAMPLE_ID, unless that only counts the rows."""
    present = [table.fields.index(f) for f in NAME_FIELDS if f in table.fields]
    counted = [str(n) for n in range(1, len(table.rows) + 1)]
    telling = [c for c in present if [row[c].text for row in table.rows] != counted]
    return next(iter([*telling, *present]), None)


def _number(word: Word, field: str, name: str) -> float:
    try:
        value = float(word.text)
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e4:
        raise CardFileError(
            f"{name}, line {word.line}: {field} {word.text!r} is not a number; "
            "use digits and a decimal point, for example 52.31"
        )
    return value
