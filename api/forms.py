"""Forms and bodies as the routes are given them: bounded before they are parsed, then checked."""

from __future__ import annotations

import math
from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

from fastapi import Depends, Request
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException

from api.errors import ProblemError
from api.named import Named

FIELD_BYTES = 64 * 1024
"""Most bytes of one text field of a form."""


async def form_of(request: Request) -> AsyncIterator[FormData]:
    """Yield the parsed form, bounded by the body limit; its files are closed afterwards."""
    kind = request.headers.get("content-type", "")
    if not kind.startswith(("multipart/form-data", "application/x-www-form-urlencoded")):
        raise ProblemError(
            422, "no_form", "a form is needed; send it as multipart/form-data with the named fields"
        )
    try:
        form = await request.form(max_files=8, max_fields=32, max_part_size=FIELD_BYTES)
    except HTTPException as fault:
        raise ProblemError(
            400, "broken_form", f"the form cannot be read ({fault.detail}); send it again"
        ) from None
    try:
        yield form
    finally:
        await form.close()


async def body_of(request: Request) -> bytes:
    """Return the raw body, bounded by the body limit."""
    return await request.body()


FormOf = Annotated[FormData, Depends(form_of)]
BodyOf = Annotated[bytes, Depends(body_of)]


@dataclass(frozen=True)
class ReadForm:
    """A form that asks for a reading."""

    photo: Named
    table: Named | str
    """A file, or the name of a kept table."""
    measured: Named | str | None
    elapsed_s: float | None
    dipped_at: datetime | None = None


def upload(form: FormData, field: str) -> Named | str | None:
    """Return a field as file, or as text, or None when it is absent or empty."""
    found: Any = form.get(field)
    if isinstance(found, UploadFile):
        data = found.file.read()
        name = Path(found.filename or field).name
        return Named(name, data) if data or found.filename else None
    return found.strip() or None if isinstance(found, str) else None


def photo_in(form: FormData) -> Named:
    """Return the photo that a form must bring."""
    photo = upload(form, "photo")
    if not isinstance(photo, Named):
        raise ProblemError(422, "no_photo", "photo: no file was sent; attach the photo as a file")
    return photo


FILE: dict[str, Any] = {"type": "string", "format": "binary"}
CARD_FILE = {**FILE, "description": "measured colours, or a kept card's name"}


def form_of_fields(required: Sequence[str], **fields: dict[str, Any]) -> dict[str, Any]:
    """Return how the description of a call tells the fields of its form."""
    schema = {"type": "object", "required": list(required), "properties": fields}
    content = {"multipart/form-data": {"schema": schema}}
    return {"requestBody": {"required": True, "content": content}}


def read_form(form: FormOf) -> ReadForm:
    """Return what the form asks to be read; say which field is missing or wrong."""
    photo, table = photo_in(form), upload(form, "table")
    if table is None:
        raise ProblemError(
            422, "no_table", "table: nothing was sent; attach a table or name a kept one"
        )
    elapsed_s = elapsed_of(upload(form, "elapsed_s"))
    dipped_at = moment_of(upload(form, "dipped_at"), "dipped_at")
    return ReadForm(photo, table, upload(form, "card"), elapsed_s, dipped_at)


def elapsed_of(text: Named | str | None) -> float | None:
    """Return the seconds from dip to photo, or None when they are not given."""
    if text is None:
        return None
    try:
        seconds = float(text if isinstance(text, str) else text.text())
    except ValueError:
        seconds = math.nan
    if not 0.0 <= seconds <= 86_400.0:
        shown = text if isinstance(text, str) else "the file"
        raise ProblemError(
            422, "bad_elapsed_s", f"elapsed_s: {shown!r} is not a number of seconds, such as 15"
        )
    return seconds


def moment_of(text: Named | str | None, field: str) -> datetime | None:
    """Return a moment with its offset, or None when the form does not give this field."""
    if text is None:
        return None
    try:
        when = datetime.fromisoformat(text if isinstance(text, str) else text.text())
    except ValueError:
        when = None
    if when is None or when.utcoffset() is None:
        raise ProblemError(
            422,
            f"bad_{field}",
            f"{field}: is no time with an offset; write it like 2025-06-01T09:00:00+02:00",
        )
    return when


ReadFormOf = Annotated[ReadForm, Depends(read_form)]
