"""`dipstep read --again`: the same photos with a newer table or card, old and new side by side."""

import json
import shutil

import pytest

from tests.whole.test_again import raised
from tests.whole.test_cli import GOOD, MEASURED, SAMPLES, TABLE, complaint, dipstep, lines

EVENING = SAMPLES / "06-evening-lamp.jpg"


@pytest.fixture(scope="module")
def first(tmp_path_factory):
    """Return a folder with two photos, a table, a newer one, a card, and what was read first."""
    folder = tmp_path_factory.mktemp("again")
    for source, name in (
        (GOOD, "good.jpg"),
        (EVENING, "lamp.jpg"),
        (TABLE, "table.csv"),
        (MEASURED, "card.txt"),
    ):
        shutil.copy(source, folder / name)
    (folder / "newer.csv").write_text(raised(TABLE.read_text(encoding="utf-8")), "utf-8")
    keep(folder, "readings.jsonl", "good.jpg", "lamp.jpg", "gone.jpg", "--elapsed-s", 15)
    return folder


@pytest.fixture
def visit(first, tmp_path):
    """Return such a folder of one's own."""
    return shutil.copytree(first, tmp_path / "visit")


def keep(folder, name, *words):
    done = dipstep(
        "read", *words, "--table", "table.csv", "--card", "card.txt", "--json", cwd=folder
    )
    (folder / name).write_text(done.stdout, "utf-8")


def again(folder, *words, readings="readings.jsonl", table="newer.csv"):
    return dipstep("read", "--again", readings, "--table", table, *words, cwd=folder)


def ph_of(reading):
    return next(pad for pad in reading["readings"] if pad["analyte"] == "ph")


def test_each_new_reading_carries_the_one_before_and_nothing_is_changed(visit):
    """The newer table says 0.2 more for every pH block."""
    kept = (visit / "readings.jsonl").read_bytes()
    done = again(visit, "--json")
    told = lines(done)

    assert done.returncode == 0
    assert [one["photo"] for one in told] == ["good.jpg", "lamp.jpg"]
    assert [one["before"] for one in told] == [json.loads(line) for line in kept.splitlines()[:2]]
    for one in told:
        rise = ph_of(one)["value"] - ph_of(one["before"])["value"]
        assert rise == pytest.approx(0.2, abs=0.02)
        assert one["readings"][0] == one["before"]["readings"][0]
        assert one["made_with"]["table"]["file"] == "newer.csv"
        assert one["made_with"]["card"] == one["before"]["made_with"]["card"]
        assert one["elapsed_s"] == 15
    assert "gone.jpg: was never read" in done.stderr
    assert (visit / "readings.jsonl").read_bytes() == kept


def test_people_see_old_and_new_side_by_side(visit):
    told = again(visit).stdout

    row = next(line for line in told.splitlines() if " pH " in line)
    assert row.count("accepted") == 2
    assert row.endswith("changed")
    assert "table: table.csv [" in told
    assert "newer.csv [" in told
    assert "card: card.txt [" in told


def test_what_was_read_again_can_be_read_again(visit):
    (visit / "second.jsonl").write_text(again(visit, "--json").stdout, "utf-8")
    told = lines(again(visit, "--json", readings="second.jsonl", table="table.csv"))
    first = lines_of(visit / "readings.jsonl")

    assert [one["readings"] for one in told] == [one["readings"] for one in first[:2]]
    assert all("before" not in one["before"] for one in told)


def lines_of(path):
    return [json.loads(line) for line in path.read_text("utf-8").splitlines()]


def test_fused_photos_are_fused_again(visit):
    (visit / "broken.jpg").write_bytes(GOOD.read_bytes()[:5000])
    keep(visit, "fused.jsonl", "good.jpg", "broken.jpg", "lamp.jpg", "--fuse")
    (told,) = lines(again(visit, "--json", readings="fused.jsonl", table="table.csv"))

    assert told["photos"] == ["good.jpg", "lamp.jpg"]
    assert told["readings"] == told["before"]["readings"]


def test_paths_may_be_relative_to_the_file_of_readings(visit, tmp_path):
    done = dipstep(
        *("read", "--again", visit / "readings.jsonl", "--table", TABLE, "--json"), cwd=tmp_path
    )

    assert len(lines(done)) == 2


def test_a_photo_that_changed_or_is_gone_is_refused_in_one_sentence(visit):
    (visit / "good.jpg").write_bytes(EVENING.read_bytes())
    (visit / "lamp.jpg").unlink()
    done = again(visit, "--json")
    said = done.stderr.splitlines()

    assert done.returncode == 1
    assert done.stdout == ""
    assert said[0].startswith("dipstep: good.jpg: is no longer the photo that was read")
    assert said[1].startswith("dipstep: lamp.jpg: is gone")
    assert len(said) == 3


def test_a_card_that_is_no_longer_what_it_was_must_be_named(visit):
    (visit / "card.txt").write_text("other", "utf-8")
    done = again(visit, "--json")
    named = again(visit, "--json", "--card", MEASURED)

    assert done.returncode == 1
    assert "name one with --card" in done.stderr
    assert [ph_of(one)["status"] for one in lines(named)] == ["accepted", "accepted"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "holds no readings"),
        ("{", "line 1: is no JSON"),
        ("[1]", "line 1: is no reading"),
        ('{"photo": "a.jpg", "status": "accepted", "readings": []}', "does not say what"),
        ('{"photo": "a.jpg", "status": "accepted", "readings": [{"pad": 1}]}', "is no reading"),
        (
            '{"photo": "a", "status": "x", "readings": [], "made_with": {"photo": 3}}',
            "does not say what",
        ),
    ],
)
def test_a_file_that_holds_no_readings_is_one_sentence(tmp_path, text, says):
    (tmp_path / "r.jsonl").write_text(text, "utf-8")

    assert says in complaint(again(tmp_path, readings="r.jsonl", table=TABLE))


@pytest.mark.parametrize("words", [(GOOD,), ("--fuse",), ("--elapsed-s", 15)])
def test_what_the_readings_tell_already_is_wrong_usage(tmp_path, words):
    done = again(tmp_path, *words)

    assert done.returncode == 2
    assert "takes photos and times from the readings" in done.stderr


def test_neither_photo_nor_readings_is_wrong_usage():
    assert dipstep("read", "--table", TABLE).returncode == 2
