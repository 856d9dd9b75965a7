"""The generator's output is set by what the chlorine did, whatever eats it."""

import pytest

from tests.cases.test_cases import answer_to

TURNED_ON = [[7.0, "circulate"], [7.6, "generator_full"]]
BALANCE = [[31.9, "ph", 7.5, 0.2], [56.2, "ph", 7.5, 0.2]]


def asked(*levels, at=57.0):
    """Return the answer once chlorine was read so on three days, the sensor in since the second."""
    hours = (7.5, 31.9, 56.2)
    read = [[hour, "free_chlorine", level, 0.5] for hour, level in zip(hours, levels, strict=True)]
    done = [*TURNED_ON, [31.95, "sensor_in"]]
    case = {"salted": True, "read": [*read, *BALANCE, [7.5, "ph", 7.5, 0.2]], "done": done}
    return answer_to(case | {"doses": [[7.2, "liquid-chlorine", 60]], "at": at})


@pytest.mark.parametrize(
    ("levels", "least", "most"),
    [
        ((5.5, 5.4, 5.5), 0.80, 0.95),  # as much is made as is eaten: hardly less may be made
        ((5.0, 7.0, 8.6), 0.65, 0.75),  # a surplus of two milligrams a day
    ],
)
def test_the_output_follows_what_was_gained_or_lost(levels, least, most):
    step = asked(*levels)["step"]
    assert step["action"] == "generator_output", step
    assert least <= step["value"] <= most


def test_one_step_never_lowers_the_output_by_more_than_a_third():
    assert asked(5.0, 8.0, 9.0)["step"]["value"] >= 0.65


def test_the_same_answer_an_hour_later():
    first, later = asked(5.5, 5.4, 5.5), asked(5.5, 5.4, 5.5, at=58.0)
    assert first["step"]["value"] == later["step"]["value"]
