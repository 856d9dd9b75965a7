"""Readers that answer what a test has put in them: for tests of the books, not of readings."""

import copy

from api.workers import Answer

READING = {
    "card": {"found": True, "design": "d", "delta_e00_median": 0.7, "delta_e00_p95": 1.5},
    "strip": {"found": True},
    "readings": [
        {
            "pad": 1,
            "analyte": "ph",
            "unit": "pH",
            "value": 7.5,
            "low": 7.3,
            "high": 7.7,
            "confidence": 0.95,
            "status": "accepted",
            "reasons": [],
            "lab": [60, 30, 40],
            "scale": [6.8, 7.2, 7.8, 8.4],
        },
        {
            "pad": 2,
            "analyte": "free_chlorine",
            "unit": "mg/L",
            "value": 9.1,
            "low": 8.0,
            "high": None,
            "confidence": 0.95,
            "status": "recheck",
            "reasons": ["beyond_chart"],
            "lab": [78, 18, -10],
            "scale": [0, 1, 3, 10],
        },
    ],
    "derived": [],
    "status": "recheck",
    "reasons": [],
}

NO_CARD = {
    **READING,
    "card": {"found": False, "design": None, "delta_e00_median": None, "delta_e00_p95": None},
    "strip": {"found": False},
    "readings": [
        {**pad, "value": None, "low": None, "high": None, "lab": None, "status": "unreadable"}
        for pad in READING["readings"]
    ],
    "status": "unreadable",
    "reasons": ["no_card"],
}


class CannedPool:
    """Stands where the reading processes stand."""

    def __init__(self, *_, **__):
        self.answer = Answer(READING, {"seen.jpg": b"\xff\xd8\xff"})
        self.asked = []

    def read(self, request):
        self.asked.append(request)
        if not isinstance(self.answer, Answer):
            return self.answer
        reading = {**copy.deepcopy(self.answer.reading), "photo": request.photo.name}
        return Answer(reading, self.answer.pictures)

    def loaded(self):
        return 1

    def close(self):
        pass
