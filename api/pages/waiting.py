"""What waits on this phone, and the worker that lets the pages open without a network."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from api.pages.render import TEMPLATES, page

router = APIRouter(include_in_schema=False)
STATIC = Path(__file__).parents[1] / "static"
NEVER_CACHED = {"worker.js"}


@dataclass(frozen=True)
class WaitingPage:
    """The page is filled on the phone: the shop does not know what waits there."""


@router.get("/waiting")
def get_waiting() -> HTMLResponse:
    """Show the list of what waits on this phone."""
    return page("waiting.html", WaitingPage())


@router.get("/sw.js")
def get_worker() -> Response:
    """Return the service worker, marked with the version of everything it keeps."""
    files = sorted(one.name for one in STATIC.iterdir() if one.name not in NEVER_CACHED)
    shell = json.dumps([f"/static/{name}" for name in files])
    head = f'const VERSION = "{edition()}";\nconst SHELL = {shell};\n'
    text = head + (STATIC / "worker.js").read_text(encoding="utf-8")
    headers = {"Cache-Control": "no-cache", "Service-Worker-Allowed": "/"}
    return Response(text, media_type="text/javascript", headers=headers)


@cache
def edition() -> str:
    """Return a short hash of the static files and templates: a new one makes phones renew them."""
    seen = hashlib.sha256()
    for folder in (STATIC, TEMPLATES):
        for path in sorted(folder.iterdir()):
            seen.update(path.read_bytes())
    return seen.hexdigest()[:16]
