"""The benchmark's own arithmetic: a figure that cannot fall is worth nothing."""

import pytest

from tests.bench import __main__ as benches, figures, holdout, reading


def pad(seed=1, **more):
    """A pad read right, well inside its band."""
    row = {
        "seed": seed, "kind": "good", "group": "good", "light": "daylight", "pad": 1, "ms": 90.0,
        "analyte": "ph", "card_found": True, "strip_found": True, "status": "accepted",
        "photo_status": "accepted", "photo_reasons": [], "reasons": [], "fault_pads": [],
        "steps": 2.0, "true_steps": 2.1, "low": 1.8, "high": 2.3, "width": 0.5, "de00": 0.8,
    }  # fmt: skip
    return {**row, **more}


def test_a_summary_counts_photos_and_accepted_pads():
    rows = [
        pad(1),
        pad(2, steps=4.0, low=3.7, high=4.3),
        pad(3, status="recheck"),
        pad(4, strip_found=False, status="unreadable"),
    ]
    del rows[3]["steps"]
    found = figures.summary(rows)
    assert found["photos"] == 4
    assert found["found"] == pytest.approx(0.75)
    assert found["accepted"] == pytest.approx(0.5)
    assert found["coverage"] == pytest.approx(0.5)
    assert found["coverage_all"] == pytest.approx(2 / 3)
    assert found["rms_steps"] == pytest.approx(((0.1**2 + 1.9**2) / 2) ** 0.5)
    assert found["wrong_per_1000"] == pytest.approx(500.0)


def test_a_crash_is_counted_and_never_hidden():
    rows = [pad(1), {"seed": 2, "kind": "good", "group": "good", "crash": "Traceback"}]
    assert figures.summary(rows)["crashes"] == 1
    assert figures.summary(rows)["photos"] == 2


def test_the_interval_holds_the_figure():
    rows = [pad(n, true_steps=2.1 if n % 4 else 3.9) for n in range(24)]
    low, high = figures.intervals(rows, ["coverage", "rms_steps"])["coverage"]
    assert low < figures.summary(rows)["coverage"] < high


@pytest.mark.parametrize(
    ("row", "wrong"),
    [
        (pad(kind="no_strip"), True),
        (pad(kind="screen"), True),
        (pad(kind="glare", status="recheck", steps=4.0), False),
        (pad(kind="glare", fault_pads=[1], steps=3.6, low=3.4, high=3.8), True),
        (pad(kind="glare", fault_pads=[1], steps=2.2), False),
        (pad(kind="glare", fault_pads=[5], steps=2.8, low=2.7, high=2.9), False),
        (pad(kind="glare", fault_pads=[5], steps=3.2, low=2.0, high=3.4), True),
    ],
)
def test_a_pad_accepted_on_a_spoiled_photo_is_wrong_where_it_errs(row, wrong):
    assert figures.wrongly_accepted(row) is wrong


def test_a_fall_beyond_the_margin_is_told():
    kept = reading.results([pad(n) for n in range(10)])
    same = reading.results([pad(n) for n in range(10)])
    assert reading.falls(same, kept) == []
    worse = reading.results([pad(n, true_steps=2.1 if n else 3.5) for n in range(10)])
    told = reading.falls(worse, kept)
    assert any("coverage" in line for line in told)
    assert any("rms_steps" in line for line in told)
    assert any("wrong_per_1000" in line for line in told)


def test_a_spoiled_photo_accepted_wrong_or_named_no_more_is_a_fall():
    spoilt = {"kind": "glare", "group": "spoiled glare", "fault_pads": [1]}
    kept = reading.results([pad(1, **spoilt, status="recheck", reasons=["glare"])])
    assert reading.falls(kept, kept) == []
    unnamed = reading.results([pad(1, **spoilt, status="recheck", reasons=["off_curve"])])
    assert reading.falls(unnamed, kept) == ["spoiled glare: named in 0 photos, was in 1"]
    wrong = reading.results([pad(1, **spoilt, steps=4.0, reasons=["glare"])])
    assert reading.falls(wrong, kept) == ["spoiled glare: wrongly accepted pads 1, were 0"]
    assert reading.falls({}, kept) == ["spoiled glare: is missing"]


def test_the_report_sets_targets_and_intervals_beside_the_figures():
    told = reading.report([pad(n, true_steps=2.1 if n % 4 else 3.9) for n in range(24)])
    assert "wanted" in told
    assert ">=90" in told
    assert "95 % interval" in told
    other = reading.report([pad(n, group="other_careless") for n in range(4)])
    assert ">=75" in other


def test_nothing_read_is_a_fall_too():
    kept = reading.results([pad(n) for n in range(4)])
    lost = [{**pad(n, status="unreadable"), "strip_found": False} for n in range(4)]
    for row in lost:
        del row["steps"], row["de00"]
    told = reading.falls(reading.results(lost), kept)
    assert any("found" in line for line in told)
    assert any("rms_steps" in line for line in told)


def test_every_benchmark_says_what_it_does(capsys):
    assert {"reading", "speed", "tubs"} <= set(benches.benches())
    assert all(benches.benches().values())
    assert benches.main(["nonsense"]) == 2
    assert "no benchmark is named 'nonsense'" in capsys.readouterr().err


def test_a_variant_that_is_not_read_or_read_wrong_is_told():
    read = [pad(1, kind="png16", group="png16")]
    assert holdout.verdict("png16", read) == "met"
    assert holdout.verdict("png16", [*read, pad(2, status="unreadable")]) == "UNREAD"
    assert holdout.verdict("noisy", [*read, pad(2, status="unreadable")]) == "met"
    assert holdout.verdict("noisy", [pad(1, true_steps=3.5)]) == "WRONG"
    assert holdout.verdict("grey", read) == "WRONG"
    assert holdout.verdict("png16", [*read, {"seed": 2, "crash": "Traceback"}]) == "CRASH"
