"""The bench's comparison with what was kept."""

import copy
import json

import pytest

from tests.bench.tubs import BASELINE, fallen


@pytest.fixture
def kept():
    return json.loads(BASELINE.read_text("utf-8"))


def test_the_same_is_no_fall(kept):
    assert fallen(kept, kept) == []


def test_a_new_fault_is_a_fall(kept):
    worse = copy.deepcopy(kept)
    worse["faults"]["rule"]["order"] = 1

    assert len(fallen(worse, kept)) == 1


@pytest.mark.parametrize(
    ("name", "by"), [("completed", -0.06), ("median_measurements", 4.0), ("median_days", 1.0)]
)
def test_only_a_change_for_the_worse_beyond_the_margin_is_a_fall(kept, name, by):
    worse, better = copy.deepcopy(kept), copy.deepcopy(kept)
    worse["targets"][name]["value"] += by
    better["targets"][name]["value"] -= by

    assert len(fallen(worse, kept)) == 1
    assert fallen(better, kept) == []
