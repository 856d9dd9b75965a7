"""A reader's practice: one reading of a drawn card, so that the first photo finds all at hand."""

from __future__ import annotations

from api.named import Named

TABLE = """strip,lot,pad,analyte,unit,read_after_s,centre_mm,size_mm,value,L,a,b
practice,,1,ph,pH,15,8,5,6.8,78,8,60
practice,,1,ph,pH,15,8,5,7.2,72,20,55
practice,,1,ph,pH,15,8,5,7.8,62,34,44
practice,,1,ph,pH,15,8,5,8.4,54,44,28
practice,,2,free_chlorine,mg/L,15,17,5,0,95,0,6
practice,,2,free_chlorine,mg/L,15,17,5,1,88,8,-2
practice,,2,free_chlorine,mg/L,15,17,5,3,78,18,-10
practice,,2,free_chlorine,mg/L,15,17,5,10,60,34,-22
"""
COLOURS = {1: (72.0, 20.0, 55.0), 2: (78.0, 18.0, -10.0)}
"""The colours that the drawn pads have: pH 7.2, free chlorine 3."""


def practise() -> str:
    """Read the drawn card once, and return what the reading came to."""
    from api.look import Look, Wish
    from api.measure import places
    from api.workers import Answer
    from reader.practice import draw_practice

    wish = Wish(Named("practice.csv", TABLE.encode()))
    job = wish.job()
    pads = [(place, COLOURS[place.pad]) for place in places(job.table)]
    answer = Look(Named("practice.jpg", draw_practice(job.card, pads)), wish).answer()
    return str(answer.reading["status"]) if isinstance(answer, Answer) else answer.message
