"""A wait once told stands until it is over, whatever the belief makes of the time between."""

import pytest

from tests.cases.test_cases import answer_to

REST = [
    *([5, "calcium_hardness", 50, 10], [5, "total_alkalinity", 90, 15]),
    *([5, "phosphate", 60, 30], [5, "salt", 60, 20]),
]


def asked(level, hours, dips=4):
    read = [[5 + 0.05 * dip, "ph", level, 0.2] for dip in range(dips)]
    return answer_to({"filled": True, "read": [*REST, *read], "at": 5 + 0.05 * dips + hours})


@pytest.mark.parametrize("level", [7.08, 7.14, 7.2, 7.76, 7.78, 7.8, 7.81, 7.82, 7.83, 7.84])
def test_asked_again_halfway_the_same_wait_is_told(level):
    first = asked(level, 0.02)["step"]
    if first["kind"] == "wait":
        for hours in (0.2, 0.5, 0.8):
            again = asked(level, hours)["step"]
            assert (again["id"], again["not_before"]) == (first["id"], first["not_before"])
