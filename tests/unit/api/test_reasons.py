"""Reason codes of the joint, and the verdict they make."""

import pytest

from api.reasons import OWN_REASONS, VERDICT, all_reasons, worst
from calibration.reasons import REASONS as CHART
from reader.reasons import REASONS as PHOTO


def test_codes_of_the_joint_do_not_clash_with_the_benches():
    assert not set(OWN_REASONS) & (set(PHOTO) | set(CHART))


def test_every_reason_has_sentence_and_cure():
    for reason in OWN_REASONS.values():
        assert reason.weight in VERDICT
        assert reason.sentence.endswith(".")
        assert reason.cure.endswith(".")


@pytest.mark.parametrize(
    ("codes", "weight"),
    [
        ([], "note"),
        (["off_time"], "note"),
        (["off_time", "read_late"], "doubt"),
        (["read_late", "far_off_time", "off_time"], "spoils"),
    ],
)
def test_the_worst_reason_weighs(codes, weight):
    assert worst(codes, all_reasons()) == weight
