"""What a person sees where a page cannot be shown."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi.responses import HTMLResponse

from api.pages.render import page

TITLES = {403: "This is not for you", 404: "Not here", 413: "Too large", 500: "Our fault"}


@dataclass(frozen=True)
class TroublePage:
    """What went wrong, in a sentence with the cure."""

    heading: str
    sentence: str


def trouble(status: int, sentence: str) -> HTMLResponse:
    """Return the page for a status and its sentence."""
    told = sentence
    for ending in ("for what there is", "for what belongs there"):
        told = told.removesuffix(f"; see /openapi.json {ending}")
    told = told.replace("; see /api/tubs", "; choose one from the list of tubs")
    heading = TITLES.get(status, "That did not work")
    return page("trouble.html", TroublePage(heading, told[:1].upper() + told[1:]), status)
