"""The sample logs answer, to the letter, at every stage they were taken from."""

import json
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.bench.tubs import engine
from tests.tubs.letter import departures

LOGS = sorted((Path(__file__).parents[3] / "sample_images" / "logs").glob("*.json"))


def test_there_are_logs_of_several_stages():
    assert len(LOGS) >= 5


@pytest.mark.parametrize("path", LOGS, ids=lambda path: path.stem)
def test_each_sample_log_answers_to_the_letter(path):
    log = json.loads(path.read_text("utf-8"))
    last = max(datetime.fromisoformat(event["at"]) for event in log["events"])
    at = last + timedelta(minutes=1)

    answer = engine(path.read_text("utf-8"), at)

    assert departures(answer, at, {product["id"] for product in log["products"]}) == []
    assert answer["step"]["kind"] != "ask"
