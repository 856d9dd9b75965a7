"""Tables from waters of known value: odd strips are named, what cannot work is refused."""

import numpy as np
import pytest

from calibration.curve import fit_curve
from calibration.estimate import estimate
from calibration.rows import TableError
from calibration.runs import load_runs
from calibration.standards import StandardPad, biweight_mean, table_from_standards
from calibration.table import PadPlan, load_table, table_text
from tests.unit.calibration.dyes import CHLORINE, DYES, PH, colours

PLANS = [
    PadPlan("fern", "A7", i + 1, dye.analyte, dye.unit, 15.0, 6.0 + 8.0 * i, 5.0)
    for i, dye in enumerate(DYES)
]


def dipped(rng, dye, value, count, vary=0.04):
    """Return strips of this value: dye strength varies by 4 % from strip to strip."""
    strength = 1.0 + vary * rng.standard_normal(count)
    return colours(dye, np.full(count, value), strength) + rng.normal(0, 0.8, (count, 3))


def measured(rng, dyes=DYES, count=4):
    return [
        StandardPad(f"{dye.analyte}-{value:g}-{k}.jpg", DYES.index(dye) + 1, value, lab)
        for dye in dyes
        for value in dye.values
        for k, lab in enumerate(dipped(rng, dye, value, count))
    ]


def test_the_table_holds_means_scatter_and_count():
    entries = measured(np.random.default_rng(1))

    built = table_from_standards(PLANS, entries)

    assert built.set_aside == ()
    block = built.table.charts[1].blocks[2]
    labs = np.array([e.lab for e in entries if e.pad == 2 and e.value == block.value])
    assert block.n == 4
    assert block.lab == pytest.approx(labs.mean(axis=0), abs=0.3)
    assert block.cov == pytest.approx(np.cov(labs.T))
    assert load_table(table_text(built.table), "t").charts[1].kind == "standards"


@pytest.mark.parametrize("seed", range(8))
def test_one_ruined_strip_is_named_and_changes_nothing(seed):
    rng = np.random.default_rng(100 + seed)
    entries = measured(rng)
    place = int(rng.integers(len(entries)))
    bad = entries[place]
    entries[place] = StandardPad(bad.photo, bad.pad, bad.value, np.array([45.0, -20.0, -15.0]))

    built = table_from_standards(PLANS, entries)
    without = table_from_standards(PLANS, entries[:place] + entries[place + 1 :])

    assert bad.photo in [odd.photo for odd in built.set_aside]
    dye = DYES[bad.pad - 1]
    read = [
        estimate(fit_curve(b.table.charts[bad.pad - 1]), colours(dye, bad.value), np.eye(3)).at
        for b in (built, without)
    ]
    assert read[0] == pytest.approx(read[1], abs=0.01)


def test_a_set_aside_strip_is_told_with_what_to_do():
    entries = measured(np.random.default_rng(4))
    entries[9] = StandardPad("spilt.jpg", 1, entries[9].value, np.array([45.0, -20.0, -15.0]))

    odd = table_from_standards(PLANS, entries).set_aside

    assert len(odd) == 1
    assert odd[0].sentence.startswith("spilt.jpg: pad 1 (ph 7.2) differs from the other strips by")
    assert odd[0].sentence.endswith("check what was typed for it, or dip this water again")


def many_pads(rng, count=4):
    """Every photo shows all pads: water k holds each pad's k-th value."""
    return [
        StandardPad(f"{place}-{k}.jpg", pad, dye.values[place], lab)
        for pad, dye in enumerate(DYES, 1)
        for place in range(min(len(dye.values) for dye in DYES))
        for k, lab in enumerate(dipped(rng, dye, dye.values[place], count))
    ]


def exchanged(entries, one, two):
    """What is seen when these two photos' names change places in the list."""
    labs = {(e.photo, e.pad): e.lab for e in entries}
    other = {one: two, two: one}
    return [
        StandardPad(e.photo, e.pad, e.value, labs[other.get(e.photo, e.photo), e.pad])
        for e in entries
    ]


def with_values_of(entries, photo, other):
    """The same with one photo told to be of another photo's water."""
    values = {e.pad: e.value for e in entries if e.photo == other}
    return [
        StandardPad(e.photo, e.pad, values[e.pad] if e.photo == photo else e.value, e.lab)
        for e in entries
    ]


@pytest.mark.parametrize("seed", range(6))
def test_two_photos_exchanged_are_named_as_such_and_change_nothing(seed):
    entries = many_pads(np.random.default_rng(300 + seed))

    built = table_from_standards(PLANS, exchanged(entries, "1-0.jpg", "4-0.jpg"))
    without = [e for e in entries if e.photo not in ("1-0.jpg", "4-0.jpg")]

    assert built.photos_aside == (
        "1-0.jpg and 4-0.jpg look as if they were exchanged, and both were set aside; exchange "
        "their values in the list, or dip both waters again",
    )
    assert table_text(built.table) == table_text(table_from_standards(PLANS, without).table)


def test_a_photo_of_the_wrong_value_is_named_with_what_it_looks_like():
    entries = with_values_of(many_pads(np.random.default_rng(5)), "1-0.jpg", "4-0.jpg")

    (told,) = table_from_standards(PLANS, entries).told_aside
    assert told.startswith("1-0.jpg differs from its fellows on most of its pads")
    assert "(it looks like ph 6.8, " in told


def test_a_single_pad_that_looks_like_another_value_says_which():
    entries = measured(np.random.default_rng(6))
    place = next(i for i, e in enumerate(entries) if e.photo == "ph-6.2-0.jpg")
    other = next(e for e in entries if e.photo == "ph-7.6-1.jpg")
    entries[place] = StandardPad("ph-6.2-0.jpg", 1, 6.2, other.lab)

    (odd,) = table_from_standards(PLANS, entries).set_aside
    assert odd.looks_like == 7.6
    assert ", looks like 7.6 and was set aside; check what was typed" in odd.sentence


def test_clean_tables_rarely_name_a_strip():
    """5 of 100 is what is claimed; more than 7 of 30 would have a chance under 1 in 10,000."""
    rng = np.random.default_rng(8)
    named = [bool(table_from_standards(PLANS, measured(rng)).set_aside) for _ in range(30)]

    assert sum(named) <= 7


def test_two_strips_that_contradict_each_other_are_refused():
    rng = np.random.default_rng(2)
    entries = measured(rng, count=2)
    entries[3] = StandardPad("b.jpg", 1, entries[3].value, np.array([45.0, -20.0, -15.0]))

    with pytest.raises(TableError, match=r"pad 1 \(ph 6.8\) contradict one another"):
        table_from_standards(PLANS, entries, "runs.csv")


def test_values_that_look_alike_are_refused():
    rng = np.random.default_rng(3)
    entries = [
        StandardPad(f"{v}-{k}.jpg", 2, v, lab)
        for v in (*CHLORINE.values, 11.0)
        for k, lab in enumerate(dipped(rng, CHLORINE, min(v, 10.0), 4))
    ]

    with pytest.raises(TableError, match=r"runs.csv: pad 2 \(free_chlorine\) looks alike at 10"):
        table_from_standards(PLANS, entries, "runs.csv")


def test_a_fold_is_refused():
    rng = np.random.default_rng(3)
    labs = [(80, 0, 10), (66, 24, 20), (58, 44, 25), (64, 23, 23), (79, 3, 12)]
    entries = [
        StandardPad(f"{v}-{k}.jpg", 2, v, np.array(lab) + rng.normal(0, 0.8, 3))
        for v, lab in zip((0.0, 1.0, 2.0, 4.0, 8.0), labs, strict=True)
        for k in range(4)
    ]

    with pytest.raises(TableError, match=r"folds: it shows nearly the same|fits another place"):
        table_from_standards(PLANS, entries, "runs.csv")


def test_one_value_is_no_chart_and_no_value_is_no_table():
    lab = colours(PH, 7.2)
    with pytest.raises(TableError, match="one known value only"):
        table_from_standards(PLANS, [StandardPad("a.jpg", 1, 7.2, lab)], "runs.csv")
    with pytest.raises(TableError, match="no photo shows a pad of known value"):
        table_from_standards(PLANS, [], "runs.csv")


def test_single_photos_make_a_table_without_repeats_and_say_so():
    built = table_from_standards(PLANS, measured(np.random.default_rng(6), count=1))

    assert not fit_curve(built.table.charts[0]).has_repeats
    assert any("fewer than four strips at 6.2" in note for note in built.notes)


def test_pads_without_a_known_value_are_left_out_and_named():
    built = table_from_standards(PLANS, measured(np.random.default_rng(6), dyes=[PH]))

    assert [chart.pad for chart in built.table.charts] == [1]
    assert any(
        note.startswith("no known value") and "pad 2 (free_chlorine)" in note
        for note in built.notes
    )


def test_the_mean_of_three_does_not_follow_a_far_one():
    labs = np.array([[50.0, 0, 0], [50.5, 0.3, 0], [60.0, 9.0, 9.0]])

    assert biweight_mean(labs, np.eye(3)) == pytest.approx([50.25, 0.15, 0], abs=0.01)


def test_runs_are_checked_line_by_line():
    runs = load_runs("photo,analyte,value\na.jpg,ph,7.2\na.jpg,free_chlorine,0\n", "runs.csv")
    assert [(run.photo, run.value) for run in runs] == [("a.jpg", 7.2), ("a.jpg", 0.0)]

    with pytest.raises(TableError, match=r"runs.csv, line 3: ph of a.jpg stands in line 2 already"):
        load_runs("photo,analyte,value\na.jpg,ph,7.2\na.jpg,ph,7.4\n", "runs.csv")
    with pytest.raises(TableError, match=r"line 2: value '-' is not a number"):
        load_runs("photo,analyte,value\na.jpg,ph,-\n", "runs.csv")


def test_a_strip_near_its_fellows_is_kept_however_little_they_differ():
    rng = np.random.default_rng(6)
    entries = measured(rng, (PH,))
    alike = [
        StandardPad(e.photo, e.pad, e.value, colours(PH, e.value) + rng.normal(0, 0.05, 3))
        for e in entries
    ]
    alike[0] = StandardPad("near.jpg", PLANS[DYES.index(PH)].pad, PH.values[0],
                           colours(PH, PH.values[0]) + np.array([1.5, 0.0, 0.5]))  # fmt: skip

    assert table_from_standards(PLANS, alike).set_aside == ()
