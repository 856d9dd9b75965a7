"""`dipstep read` over folders and several photos: order, crashes, fusion, pictures, bad places."""

import json
import os
import shutil
import signal
from pathlib import Path

import pytest
from PIL import Image

from api.cli import crew
from api.look import Look, Wish
from api.named import Named
from api.workers import Fault
from tests.whole.test_cli import GOOD, MEASURED, SAMPLES, TABLE, complaint, dipstep, lines, read

EVENING = SAMPLES / "06-evening-lamp.jpg"
EMPTY = SAMPLES / "14-empty-slot.jpg"
WISH = Wish(Named("t.csv", TABLE.read_bytes()), Named("m.txt", MEASURED.read_bytes()))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Return a folder of photos, one of them no photo, with other files beside them."""
    place = tmp_path_factory.mktemp("visit")
    for photo, name in ((GOOD, "b.jpg"), (EMPTY, "C.JPG"), (EVENING, "a.jpeg")):
        shutil.copy(photo, place / name)
    (place / "broken.jpg").write_bytes(GOOD.read_bytes()[:5000])
    (place / "notes.txt").write_text("no photo")
    (place / ".hidden.jpg").write_bytes(b"")
    return place


def test_a_folder_is_read_in_order_of_names_by_several_workers(folder):
    done = read(folder, "--jobs", 2)
    told = lines(done)

    assert done.returncode == 0
    names = ["C.JPG", "a.jpeg", "b.jpg", "broken.jpg"]
    assert [one["photo"] for one in told] == [str(folder / name) for name in names]
    assert (told[0]["status"], told[2]["status"]) == ("unreadable", "accepted")
    assert told[3]["reasons"] == ["not_an_image"]


class Deadly:
    """A photo that ends the process that decodes it."""

    photo = Named("deadly.jpg", b"")

    def answer(self):
        os.kill(os.getpid(), signal.SIGKILL)


class Endless:
    """A photo that never comes to an end."""

    photo = Named("endless.jpg", b"")

    def answer(self):
        signal.pause()


def test_a_photo_that_crashes_or_hangs_the_decoder_costs_itself_alone(monkeypatch):
    monkeypatch.setattr(crew, "TIMEOUT_S", 20.0)
    monkeypatch.setattr(crew, "QUICKEST", "spawn")
    good = Look(Named("good.jpg", GOOD.read_bytes()), WISH)
    dead, said, hung, again = crew.answers([Deadly(), good, Endless(), good], 2)

    assert said.reading["status"] == again.reading["status"] == "accepted"
    for fault, name in ((dead, "deadly.jpg"), (hung, "endless.jpg")):
        assert isinstance(fault, Fault)
        assert fault.code == "reading_stopped"
        assert fault.message.startswith(f"{name}: reading took too long or broke off; ")


def test_a_table_that_cannot_be_used_is_told_once_for_a_whole_folder(folder, tmp_path):
    (tmp_path / "t.csv").write_text(TABLE.read_text().replace("mg/L", "ppm", 1))
    done = read(folder, table=GOOD)

    assert "UTF-8" in complaint(done)
    assert done.stdout == ""


def test_names_that_are_no_utf8_are_read_and_told_in_hex(tmp_path):
    odd = Path(os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9.jpg"))
    shutil.copy(GOOD, odd)
    done = read(odd, "--explain", tmp_path / "out")
    (told,) = lines(done)

    assert told["photo"] == str(tmp_path / "caf\\xe9.jpg")
    assert told["status"] == "accepted"
    assert (tmp_path / "out" / "caf-xe9-flat.jpg").exists()


def test_photos_of_one_strip_fuse_and_the_same_photo_counts_once(tmp_path):
    shutil.copy(GOOD, tmp_path / "again.jpg")
    done = read(GOOD, tmp_path / "again.jpg", tmp_path / "gone.jpg", "--fuse")
    (told,) = lines(done)
    (alone,) = lines(read(GOOD))

    assert told["photos"] == [str(GOOD)]
    assert "is the same photo as" in done.stderr
    assert "gone.jpg" in done.stderr
    assert told["readings"] == alone["readings"]


def test_photos_of_different_strips_given_together_are_doubted(tmp_path):
    """The two were given one time, so that nothing but their colours tells them apart."""
    names = ("01-shade.jpg", "02-workbench.jpg", "06-evening-lamp.jpg")
    photos = [without_time(SAMPLES / name, tmp_path / name) for name in names]
    (told,) = lines(read(*photos, "--fuse"))

    assert "different_strips" in told["reasons"]
    assert told["status"] == "recheck"


def without_time(photo, place):
    """Save a photo without its own time."""
    with Image.open(photo) as image:
        exif = image.getexif()
        turn = exif.get(0x0112, 1)
        bare = Image.Exif()
        bare[0x0112] = turn
        image.save(place, quality=95, exif=bare, icc_profile=image.info.get("icc_profile"))
    return place


def test_nothing_to_fuse_is_one_sentence(tmp_path):
    done = read(tmp_path / "gone.jpg", "--fuse")

    assert done.returncode == 1
    assert done.stdout == ""
    assert "not one photo to fuse" in done.stderr


@pytest.mark.parametrize(
    ("dipped_at", "elapsed_s", "reason"),
    [
        ("2026-06-01T10:40:40+02:00", 20.0, None),
        ("2026-06-01T08:40:20Z", 40.0, "read_late"),
        ("2026-06-01T10:41:30+02:00", None, "photo_before_dip"),
    ],
)
def test_the_photos_own_time_tells_how_long_after_the_dip(dipped_at, elapsed_s, reason):
    """The sample was taken at 10:41:00+02:00 by its own account; its first pad is read at 15 s."""
    (told,) = lines(read(GOOD, "--dipped-at", dipped_at))

    assert told["taken_at"] == "2026-06-01T10:41:00+02:00"
    assert told["elapsed_s"] == elapsed_s
    said = {*told["reasons"], *told["readings"][0]["reasons"]}
    assert said == ({reason} if reason else set())


def test_two_ways_to_tell_the_time_are_wrong_usage():
    done = read(GOOD, "--dipped-at", "2026-06-01T10:40:40+02:00", "--elapsed-s", 15)

    assert done.returncode == 2


@pytest.mark.parametrize("jobs", ["0", "-1", "many", "65"])
def test_a_number_of_workers_that_is_none_is_wrong_usage(jobs):
    assert read(GOOD, "--jobs", jobs).returncode == 2


def test_explain_writes_pictures_under_names_that_tell_the_photos_apart(tmp_path):
    for day in ("monday", "tuesday"):
        (tmp_path / day).mkdir()
        shutil.copy(GOOD, tmp_path / day / "strip.jpg")
    done = read(tmp_path / "monday", tmp_path / "tuesday", "--explain", tmp_path / "out")
    names = {path.name for path in (tmp_path / "out").iterdir()}

    assert done.returncode == 0
    for day in ("monday", "tuesday"):
        assert f"{day}-strip-jpg-seen.jpg" in names
        assert f"{day}-strip-jpg-flat.jpg" in names
        assert f"{day}-strip-jpg-pad3-ph-value.svg" in names
    assert len(lines(done)) == 2


def test_a_place_for_pictures_that_cannot_be_written_is_told_before_any_reading(tmp_path):
    (tmp_path / "taken").write_text("a file")
    done = read(GOOD, "--explain", tmp_path / "taken")

    assert "cannot be written into" in complaint(done)
    assert done.stdout == ""


def test_a_reading_tells_what_it_was_made_with():
    (told,) = lines(read(GOOD))
    made = told["made_with"]

    assert made["table"]["file"] == str(TABLE)
    assert made["card"]["file"] == str(MEASURED)
    assert all(len(made[key]["sha256"]) == 64 for key in ("table", "card"))
    assert json.dumps(made)
    assert dipstep("read", GOOD, "--table", TABLE, "--json").returncode == 0
