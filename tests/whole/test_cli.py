"""The command as a person and a program use it: real photos, real files, exit codes, sentences."""

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_images"
TABLE = SAMPLES / "table.csv"
MEASURED = SAMPLES / "card-measured.txt"
GOOD = SAMPLES / "01-shade.jpg"
LOG = ROOT / "api" / "demo" / "garden-tub.json"
AT = "2026-05-18T14:55:00+02:00"


def dipstep(*words, cwd=ROOT, **more):
    """Run the command as a person would."""
    command = [sys.executable, "-m", "api.cli", *map(str, words)]
    env = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"}
    return subprocess.run(command, capture_output=True, text=True, cwd=cwd, env=env, **more)


def complaint(done, status=1):
    """Return the one sentence that a refusal says."""
    assert done.returncode == status, done.stdout + done.stderr
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 1, done.stderr
    assert lines[0].startswith("dipstep: ")
    assert "Traceback" not in done.stderr
    return lines[0].removeprefix("dipstep: ")


def read(*photos, table=TABLE, card=MEASURED, **more):
    return dipstep("read", *photos, "--table", table, "--card", card, "--json", **more)


def lines(done):
    return [json.loads(line) for line in done.stdout.splitlines()]


def jpeg(image):
    out = io.BytesIO()
    image.save(out, "JPEG")
    return out.getvalue()


@pytest.fixture(scope="module")
def answers(tmp_path_factory):
    """Return what is said of good and bad files in one run, by name."""
    folder = tmp_path_factory.mktemp("photos")
    noise = np.random.default_rng(3).integers(0, 255, (600, 800, 3), dtype=np.uint8)
    files = {
        "text.jpg": b"this is no photo",
        "empty.jpg": b"",
        "truncated.jpg": GOOD.read_bytes()[:9000],
        "dot.png": jpeg(Image.new("RGB", (1, 1))),
        "noise.jpg": jpeg(Image.fromarray(noise)),
        "bomb.png": bomb(),
    }
    for name, data in files.items():
        (folder / name).write_bytes(data)
    (folder / "bare").mkdir()
    asked = [GOOD, *(folder / name for name in files), folder / "gone.jpg", folder / "bare"]
    asked += [SAMPLES / "11-wrong-way-round.jpg", SAMPLES / "14-empty-slot.jpg"]
    done = read(*asked)
    told = lines(done)
    assert done.returncode == 0
    assert [one["photo"] for one in told] == [str(path) for path in asked]
    return {Path(one["photo"]).name: one for one in told} | {"": done}


def bomb():
    """Return a PNG of 200 megapixels in a few hundred kilobytes."""
    out = io.BytesIO()
    Image.new("1", (20_000, 10_000)).save(out, "PNG")
    return out.getvalue()


def test_a_good_photo_is_read_with_the_keys_of_the_contract(answers):
    told = answers["01-shade.jpg"]

    assert told["card"]["found"]
    assert told["card"]["design"]
    assert told["card"]["delta_e00_median"] < told["card"]["delta_e00_p95"]
    assert told["strip"] == {"found": True}
    assert [pad["pad"] for pad in told["readings"]] == [1, 2, 3, 4, 5, 6, 7]
    for pad in told["readings"]:
        assert {"analyte", "unit", "value", "low", "high", "confidence"} <= pad.keys()
        assert pad["status"] in {"accepted", "recheck", "unreadable"}
        assert pad["confidence"] == 0.95
        assert len(pad["lab"]) == 3


def test_the_bands_of_a_good_photo_hold_the_truth(answers):
    """Six of seven pads at least; the truth lies beside the photo."""
    truth = json.loads((SAMPLES / "01-shade.truth.json").read_text())
    true = {pad["analyte"]: pad["value"] for pad in truth["strips"][0]["pads"]}
    inside = [
        pad["low"] <= true[pad["analyte"]] <= pad["high"]
        for pad in answers["01-shade.jpg"]["readings"]
    ]

    assert sum(inside) >= 6


@pytest.mark.parametrize("name", ["text.jpg", "empty.jpg", "truncated.jpg", "bomb.png"])
def test_what_is_no_usable_image_is_a_line_and_a_sentence(answers, name):
    assert answers[name]["status"] == "unreadable"
    assert answers[name]["reasons"] == ["not_an_image"]
    assert answers[name]["readings"] == []
    said = [line for line in answers[""].stderr.splitlines() if name in line]
    assert len(said) == 1
    assert ";" in said[0]


@pytest.mark.parametrize("name", ["gone.jpg", "bare"])
def test_a_missing_file_or_an_empty_folder_is_a_line_and_a_sentence(answers, name):
    assert answers[name]["reasons"] == ["no_such_file"]
    assert "Traceback" not in answers[""].stderr


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("noise.jpg", "no_card"),
        ("14-empty-slot.jpg", "no_strip"),
        ("11-wrong-way-round.jpg", "strip_reversed"),
    ],
)
def test_a_photo_without_card_or_strip_is_an_answer(answers, name, reason):
    told = answers[name]

    assert told["status"] == "unreadable"
    assert reason in told["reasons"]
    for pad in told["readings"]:
        assert (pad["value"], pad["low"], pad["high"]) == (None, None, None)


def test_one_pixel_is_an_answer_or_no_image(answers):
    assert answers["dot.png"]["status"] == "unreadable"


def test_when_no_photo_could_be_read_the_exit_is_one(tmp_path):
    (tmp_path / "a.jpg").write_bytes(b"no")
    done = read(tmp_path / "a.jpg")

    assert "no photo" in complaint(done)
    assert [one["reasons"] for one in lines(done)] == [["not_an_image"]]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("strip,lot,pad,", "strip,lot,"), "pad"),
        (("15,4.0,5.0,0,92.70", "15,4.0,5.0,nothing,92.70"), "line 2"),
        (("15,4.0,5.0,1,83.64", "15,4.0,5.0,0,83.64"), "line"),
        ((",4.0,5.0,1,", ",4.5,5.0,1,"), "line"),
    ],
)
def test_a_table_that_cannot_be_used_is_told_with_its_line(tmp_path, change, says):
    text = TABLE.read_text()
    assert change[0] in text
    broken = tmp_path / "table.csv"
    broken.write_text(text.replace(*change, 1))
    said = complaint(read(GOOD, table=broken))

    assert said.startswith(str(broken))
    assert says in said


def test_a_table_of_one_block_a_pad_is_refused(tmp_path):
    rows = TABLE.read_text().splitlines()
    (tmp_path / "one.csv").write_text("\n".join(rows[:2]) + "\n")

    assert "block" in complaint(read(GOOD, table=tmp_path / "one.csv"))


@pytest.mark.parametrize("option", ["--table", "--card"])
def test_files_beside_the_photo_that_cannot_be_opened(tmp_path, option):
    files = {"--table": TABLE, "--card": MEASURED, option: tmp_path / "none"}
    words = [word for pair in files.items() for word in pair]

    said = complaint(dipstep("read", GOOD, *words))
    assert "no such file or directory; check the path" in said


def test_another_files_bytes_as_table_or_card():
    assert "UTF-8" in complaint(read(GOOD, table=GOOD))
    assert "measured card" in complaint(read(GOOD, card=TABLE))


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["read"],
        ["read", "a.jpg"],
        ["read", "a.jpg", "--table", "t.csv", "--elapsed-s", "soon"],
        ["read", "a.jpg", "--table", "t.csv", "--elapsed-s", "-5"],
        ["next"],
        ["next", "log.json", "--at", "noon"],
        ["next", "log.json", "--at", "2026-05-18T14:55:00"],
        ["serve", "--port", "99999"],
        ["card"],
        ["no-such-verb"],
    ],
)
def test_wrong_usage_exits_with_two(words):
    done = dipstep(*words)

    assert done.returncode == 2
    assert "usage: dipstep" in done.stderr
    assert done.stdout == ""


def test_next_prints_the_answer_of_the_contract():
    done = dipstep("next", LOG, "--at", AT, "--json")
    told = json.loads(done.stdout)

    assert done.returncode == 0
    assert done.stderr == ""
    assert {"at", "stage", "complete", "gates", "step", "expect", "why", "cautions"} <= told.keys()
    assert told["step"]["kind"] == "dose"
    assert told["step"]["amount_g"] > 0
    assert told["cautions"]


def test_next_for_people_shows_the_cautions_with_the_dose():
    done = dipstep("next", LOG, "--at", AT)

    for word in ("Next: Add", "Gates", "Why", "Cautions", "acid and chlorine"):
        assert word in done.stdout


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "not JSON"),
        ("{", "line 1, column 2"),
        ("[]", "object"),
        ('{"tub": {}, "procedure": "salt_startup"}', "events"),
    ],
)
def test_a_log_that_is_none_is_told_with_its_place(tmp_path, text, says):
    (tmp_path / "log.json").write_text(text)
    said = complaint(dipstep("next", tmp_path / "log.json"))

    assert says in said
    assert "log.json" in said


EVENT = {"at": "2026-05-18T14:45:00+02:00", "type": "reading", "analyte": "ph", "value": 7.4,
         "unit": "pH", "source": "drop_test"}  # fmt: skip


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"analyte": "moon_dust"}, "'moon_dust' is unknown"),
        ({"type": "prayer"}, "'prayer' is unknown"),
        ({"value": -1}, "-1 is not possible"),
        ({"value": "seven"}, "not a number"),
        ({"value": float("nan")}, "not a finite number"),
        ({"low": 8, "high": 9}, "does not hold its value"),
        ({"at": "2026-05-18T14:45:00"}, "no offset"),
        ({"at": "2027-05-18T14:45:00+02:00"}, "lies later"),
        ({"unit": "ppm"}, "not 'ppm'"),
    ],
)
def test_an_event_that_cannot_be_understood_is_told_with_its_place(tmp_path, change, says):
    log = json.loads(LOG.read_text())
    log["events"].append({**EVENT, **change})
    (tmp_path / "log.json").write_text(json.dumps(log))
    said = complaint(dipstep("next", tmp_path / "log.json", "--at", AT))

    assert says in said
    if says != "NaN":
        assert f"events[{len(log['events']) - 1}]" in said


@pytest.mark.parametrize(
    ("event", "says"),
    [
        ({"type": "dose", "product": "potion", "amount_g": 3}, "potion"),
        ({"type": "done", "step": "dance"}, "dance"),
    ],
)
def test_an_unknown_product_or_step_is_told_with_its_place(tmp_path, event, says):
    log = json.loads(LOG.read_text())
    log["events"].append({"at": EVENT["at"], **event})
    (tmp_path / "log.json").write_text(json.dumps(log))

    assert says in complaint(dipstep("next", tmp_path / "log.json", "--at", AT))


def test_a_procedure_of_ones_own_that_is_not_there(tmp_path):
    log = json.loads(LOG.read_text()) | {"procedure": "own.toml"}
    (tmp_path / "log.json").write_text(json.dumps(log))

    said = complaint(dipstep("next", tmp_path / "log.json", "--at", AT))
    assert "procedure 'own.toml': no such file" in said


def test_card_writes_pdf_and_layout(tmp_path):
    done = dipstep("card", "--pdf", tmp_path / "c.pdf", "--layout", tmp_path / "c.json")

    assert done.returncode == 0
    assert (tmp_path / "c.pdf").read_bytes().startswith(b"%PDF")
    layout = json.loads((tmp_path / "c.json").read_text())
    assert {"card", "size_mm", "markers", "patches", "strip_slot"} <= layout.keys()
    assert len(layout["patches"]) >= 48


@pytest.mark.parametrize("place", ["none/c.pdf", "."])
def test_a_place_that_cannot_be_written(tmp_path, place):
    said = complaint(dipstep("card", "--pdf", tmp_path / place))

    assert "cannot be written" in said
    assert not list(tmp_path.glob("*.part"))


def test_a_reader_that_stops_listening_gets_no_traceback():
    command = f"{sys.executable} -m api.cli next {LOG} --at {AT} | true"
    done = subprocess.run(
        ["bash", "-c", command], cwd=ROOT, capture_output=True, text=True, timeout=60
    )

    assert "Traceback" not in done.stderr


def test_a_full_disk_is_told():
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "api.cli", "next", str(LOG), "--at", AT],
            cwd=ROOT, stdout=full, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip

    assert done.returncode == 1
    assert done.stderr.startswith("dipstep: the answer cannot be written (no space left")


def test_help_and_next_load_no_image_and_no_web_code():
    code = (
        "import sys; from api.cli import main\n"
        f"main(['next', {str(LOG)!r}, '--at', {AT!r}])\n"
        "heavy = {'cv2', 'skimage', 'PIL', 'colour', 'fastapi', 'sqlalchemy', 'pydantic'}\n"
        "assert not heavy & set(sys.modules), heavy & set(sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)

    assert done.returncode == 0, done.stderr


def test_the_demo_reads_the_samples_and_ends_with_a_dose_and_its_cautions():
    done = dipstep("demo")

    assert done.returncode == 0
    assert done.stdout.count("✓ accepted") > 30
    assert "cannot tell" in done.stdout
    assert "Next: Add" in done.stdout
    assert "acid and chlorine" in done.stdout
