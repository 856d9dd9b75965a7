"""`dipstep read` over folders and several photos: order, crashes, fusion, pictures, bad places."""

import json
import os
import shutil
import signal
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import pytest
from PIL import Image

from api.cli import crew, photo_files
from api.look import Look, Wish
from api.named import Named
from api.workers import Fault
from reader.inks import DRAWN
from reader.photo import MAX_BYTES
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


@pytest.fixture
def odd_files(tmp_path):
    """Return places that are no photos, with what is said of each."""
    (tmp_path / "empty.jpg").write_bytes(b"")
    (tmp_path / "folder.jpg").mkdir()
    (tmp_path / "half.jpg").write_bytes(GOOD.read_bytes()[:40_000])
    (tmp_path / "loop.jpg").symlink_to(tmp_path / "loop.jpg")
    (tmp_path / "two\nlines\x1b[31m.jpg").write_text("no photo")
    (tmp_path / "bomb.png").write_bytes(png_header(30_000, 30_000))
    with (tmp_path / "endless.jpg").open("wb") as file:
        file.truncate(150_000_000)
    os.mkfifo(tmp_path / "pipe.jpg")
    return {
        "empty.jpg": "the photo is empty (0 bytes); choose another file",
        "folder.jpg": "the folder holds no photos; name another",
        "gone.jpg": "no such file or directory; check the path",
        "half.jpg": "the photo is cut off: its file ends in the middle; copy it again",
        "loop.jpg": "too many levels of symbolic links; check the path",
        "two\nlines\x1b[31m.jpg": "the file is no photo in JPEG, PNG, WebP, TIFF or HEIC",
        "bomb.png": "the photo has 30000 x 30000 pixels, more than 60 megapixels",
        "endless.jpg": "has 150 MB, more than 100 MB; save it as JPEG",
        "pipe.jpg": "is a pipe or a device; save the photo to a file first",
    }


def png_header(width, height):
    """Return the head of a PNG that would fill gigabytes."""
    head = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunks = (head, b"IDAT" + zlib.compress(bytes(10_000)))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(one) - 4) + one + struct.pack(">I", zlib.crc32(one)) for one in chunks
    )


def test_what_is_no_photo_is_one_line_with_place_and_cure(odd_files, tmp_path):
    """One line a file on each stream, whatever its name holds, and the others are still read."""
    names = [*odd_files, "/dev/zero"]
    done = read(*(tmp_path / name for name in names), GOOD)
    told = lines(done)
    said = dict(zip(names, done.stderr.splitlines(), strict=True))

    assert done.returncode == 0
    assert told[-1]["status"] == "accepted"
    assert {tuple(one["reasons"]) for one in told[:-1]} == {("not_an_image",), ("no_such_file",)}
    for name, words in odd_files.items():
        shown = name.replace("\n", "\\n").replace("\x1b", "\\x1b")
        assert said[name].startswith(f"dipstep: {tmp_path}/{shown}: {words}")
    assert said["/dev/zero"].endswith("is a pipe or a device; save the photo to a file first")


def test_a_table_without_an_end_is_one_sentence():
    said = complaint(read(GOOD, table="/dev/zero"))

    assert said == "/dev/zero: holds more than 200 MB; check that it is the right file"


@pytest.mark.parametrize("words", [("",), (GOOD, "--explain", ""), (GOOD, "--card", "")])
def test_an_empty_name_is_wrong_usage(words):
    done = read(*words)

    assert done.returncode == 2
    assert "the name is empty" in done.stderr


def test_pictures_that_find_no_room_leave_no_half_of_one(tmp_path):
    """A limit on the size of files stands for a full disk."""
    code = (
        "import resource, signal, sys; from api.cli import main; "
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
        "resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000)); sys.exit(main(sys.argv[1:]))"
    )
    words = ["read", GOOD, "--table", TABLE, "--explain", tmp_path, "--json"]
    done = subprocess.run(
        [sys.executable, "-c", code, *map(str, words)], capture_output=True, text=True
    )

    assert done.returncode == 1
    assert done.stderr.splitlines() == [
        f"dipstep: {tmp_path}/01-shade-seen.jpg: cannot be written (file too large); "
        "choose another place"
    ]
    assert list(tmp_path.iterdir()) == []


def test_the_limit_on_bytes_and_the_mark_of_pictures_are_the_readers():
    assert photo_files.LARGEST_BYTES == MAX_BYTES
    assert photo_files.DRAWN == DRAWN


def test_pictures_that_explain_are_not_taken_for_photos(tmp_path):
    """Written into the folder of the photos, they do not join it, and are refused by name."""
    shutil.copy(GOOD, tmp_path / "strip.jpg")
    for _ in range(2):
        done = read(tmp_path, "--explain", tmp_path)
        assert [one["photo"] for one in lines(done)] == [str(tmp_path / "strip.jpg")]

    drawn = read(tmp_path / "strip-flat.jpg", tmp_path / "strip-seen.jpg")
    assert drawn.returncode == 1
    assert drawn.stderr.count("was drawn to explain a reading; give the photo") == 2


def test_a_pad_that_cannot_be_told_has_a_picture_that_says_so(tmp_path):
    """Of an empty slot no pad's colour is known; of a burnt-out photo's pads some."""
    done = read(EMPTY, "--explain", tmp_path)
    pictures = {path.name: path.read_text() for path in tmp_path.glob("*-value.svg")}

    assert done.returncode == 0
    assert len(pictures) == len(lines(done)[0]["readings"])
    for text in pictures.values():
        assert "cannot be told" in text
        assert "slot" in text
