"""Control charts: each Westgard rule as the paper words it, and the way back from recheck."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree

import pytest

from calibration.control import (
    RULES,
    ControlLimits,
    ControlReading,
    Signed,
    broken_rules,
    control_state,
    history,
    limits_of,
)
from calibration.control_picture import draw_control

START = datetime(2026, 5, 1, 8, tzinfo=UTC)
LIMITS = ControlLimits(3.0, 0.25, 20)


def series(*z):
    """Return control readings a day apart with these z scores."""
    return [
        ControlReading(START + timedelta(days=i), LIMITS.mean + LIMITS.sd * x)
        for i, x in enumerate(z)
    ]


@pytest.mark.published("westgard1981")
@pytest.mark.parametrize(
    ("z", "codes"),
    [
        # Westgard, Barry, Hunt and Groth, Clin. Chem. 27 (3), 493-501, 1981: the rules as defined
        ((1.9,), ()),
        ((2.1,), ("1-2s",)),
        ((-2.1,), ("1-2s",)),
        ((3.1,), ("1-2s", "1-3s")),
        ((2.1, 2.2), ("1-2s", "2-2s")),
        ((-2.1, -2.2), ("1-2s", "2-2s")),
        ((2.1, 1.9), ()),
        ((2.1, -2.1), ("1-2s", "R-4s")),
        ((-2.5, 2.1), ("1-2s", "R-4s")),
        ((1.1, 1.2, 1.1, 1.3), ("4-1s",)),
        ((1.1, 1.2, 0.9, 1.3), ()),
        ((-1.1, -1.2, -1.1, -1.3), ("4-1s",)),
        ((1.1, -1.2, 1.1, -1.3), ()),
        ((0.1,) * 9, ()),
        ((0.1,) * 10, ("10-x",)),
        ((-0.1,) * 10, ("10-x",)),
        ((0.1,) * 9 + (-0.1,), ()),
    ],
)
def test_each_rule_breaks_where_the_paper_says(z, codes):
    assert broken_rules(z) == codes


def test_a_warning_alone_puts_nothing_on_recheck():
    state = control_state(series(0.2, -0.5, 2.4), LIMITS)

    assert (state.state, state.broken) == ("warning", ("1-2s",))
    assert control_state(series(0.2, 2.4, -0.3), LIMITS).state == "in_control"


def test_a_broken_rule_stays_until_someone_signs_it_off():
    readings = series(0.2, 3.4, 0.1, -0.2)

    broken = control_state(readings, LIMITS)
    signed = control_state(
        readings, LIMITS, [Signed(START + timedelta(days=1, hours=2), "Mara", "fresh bottle")]
    )

    assert (broken.state, broken.broken, broken.since) == ("recheck", ("1-3s",), readings[1].at)
    assert "sign it off" in broken.sentence
    assert signed.state == "in_control"


def test_a_signature_begins_runs_anew_and_does_not_cover_what_comes_after():
    readings = series(*[0.5] * 9, 0.4, 0.3)
    word = Signed(START + timedelta(days=8, hours=2), "Mara", "new bottle")

    assert control_state(readings, LIMITS).state == "recheck"
    assert control_state(readings, LIMITS, [word]).state == "in_control"
    assert (
        control_state([*readings, *series(*[0] * 11, 3.5)[-1:]], LIMITS, [word]).state == "recheck"
    )


def test_the_order_in_the_file_does_not_matter():
    readings = series(0.1, 2.2, 2.3, 0.1)

    assert control_state(readings[::-1], LIMITS) == control_state(readings, LIMITS)


def test_limits_come_from_the_first_readings():
    limits = limits_of([2.9, 3.1, 3.0, 3.2, 2.8])

    assert limits.mean == pytest.approx(3.0)
    assert limits.sd == pytest.approx(0.1581, abs=1e-4)
    assert limits_of([3.0, 3.0], least_sd=0.1).sd == 0.1
    with pytest.raises(ValueError, match="two control readings or more"):
        limits_of([3.0])
    with pytest.raises(ValueError, match="do not differ at all"):
        limits_of([3.0, 3.0])
    assert control_state([], None).state == "unset"


@pytest.mark.parametrize(
    ("controls", "share"),
    # J. O. Westgard, Basic QC Practices (and Clin. Chem. 25, 863, 1979): of good runs with so many
    # controls each, 1-2s rejects about 5, 9, 14 and 18 % (from memory; reckoned with 5 % each)
    [(1, 0.05), (2, 0.09), (3, 0.14), (4, 0.18)],
)
def test_two_deviations_warn_in_as_many_good_runs_as_published(controls, share):
    import numpy as np

    runs = np.random.default_rng(controls).standard_normal((6000, controls))
    warned = np.mean([any(broken_rules((z,)) for z in run) for run in runs])

    assert warned == pytest.approx(share, abs=0.02)


LESSON = ControlLimits(200.0, 4.0)
"""Mean and standard deviation of control 1 in Westgard's lesson on Levey-Jennings charts (from
memory): lines at 196 and 204, 192 and 208, 188 and 212."""


@pytest.mark.parametrize(
    ("values", "codes"),
    [
        # one value between the lines for two and three deviations warns, one past 212 rejects
        ((204, 199, 209), ("1-2s",)),
        ((204, 199, 213), ("1-2s", "1-3s")),
        ((209, 209), ("1-2s", "2-2s")),
        ((209, 191), ("1-2s", "R-4s")),
        ((205, 206, 205, 207), ("4-1s",)),
        ((201, 202, 201, 203, 201, 202, 201, 203, 201, 202), ("10-x",)),
        ((208, 204, 192), ()),
    ],
)
def test_the_lines_of_the_lesson_part_right_from_wrong(values, codes):
    assert broken_rules([LESSON.z(value) for value in values]) == codes


def test_no_more_than_the_known_share_of_good_days_is_rejected():
    """Of independent normal readings 1-3s alone rejects 0.27 %; the history keeps that count."""
    import numpy as np

    z = list(np.random.default_rng(3).standard_normal(4000))

    share = sum("1-3s" in codes for codes in history(z)) / len(z)
    assert share == pytest.approx(0.0027, abs=0.0025)


def test_the_picture_rings_what_broke_and_marks_the_signature():
    readings = series(0.2, 3.4, 0.1, 1.2, 1.1, 1.4, 1.3)
    word = Signed(START + timedelta(days=1, hours=2), "Mara", "fresh bottle")

    svg = draw_control(readings, LIMITS, "free chlorine <A7>", "mg/L", [word])

    words = [x.text for x in ElementTree.fromstring(svg).iter() if x.text]  # noqa: S314 - our own
    assert "1-3s" in words
    assert "4-1s" in words
    assert "signed off: Mara" in words
    assert "free chlorine <A7>" in words
    assert draw_control([], LIMITS, "ph", "pH").count("no control readings yet") == 1


def test_dips_that_set_the_limits_are_drawn_but_not_judged():
    far, near = series(3.4, 0.1)
    svg = draw_control([replace(far, judged=False), near], LIMITS, "ph", "pH")

    assert "1-3s" not in svg


def test_every_rule_has_its_words():
    assert set(RULES) == {"1-2s", "1-3s", "2-2s", "R-4s", "4-1s", "10-x"}
