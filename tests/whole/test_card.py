"""A new card measured by photos, and a card watched, as the shop's keeper does it."""

import json
from datetime import timedelta

import numpy as np
import pytest
from sqlalchemy import select

from api import shelf
from api.card_books import card_lines
from api.cli import main
from api.named import Named
from api.store import KeptFile, Photo, Reading, Tub
from reader.card import standard_card
from reader.card_files import CardFacts, read_facts, read_measured, write_cgats
from reader.lab import delta_e00
from tests.bench.two_cards import Beside, measured_labs, photo, true_labs
from tests.render.inks import Print
from tests.whole.shop import NOON, TABLE, open_shop

CARD = standard_card()
NEW, OLD = Print(901, "plain"), Print(902, "plain")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    where = tmp_path_factory.mktemp("cards")
    for k, light in enumerate(("daylight", "good_led", "daylight")):
        (where / f"{k}.jpg").write_bytes(photo(Beside(NEW, OLD, 5, light, pixels=3e6), k + 70))
    labs = measured_labs(OLD, CARD)
    known = {p.id: tuple(map(float, lab)) for p, lab in zip(CARD.patches, labs, strict=True)}
    (where / "old.txt").write_text(write_cgats(known))
    return where


def measure(folder, *photos, out="new.txt", beside="old.txt"):
    paths = [str(folder / name) for name in photos]
    more = ["--beside", str(folder / beside), "--out", str(folder / out), "--json"]
    return main(["card", "measure", *paths, *more, "--serial", "2026-2"])


def test_a_new_card_is_measured_beside_the_old_one(folder, capsys):
    assert measure(folder, "0.jpg", "1.jpg", "2.jpg") == 0

    told = json.loads(capsys.readouterr().out)
    data = (folder / "new.txt").read_bytes()
    found = read_measured(data, "new.txt")
    labs = np.array([found[patch.id] for patch in CARD.patches])
    off = delta_e00(labs, true_labs(Beside(NEW, OLD, 5, ""), CARD))
    assert np.median(off) < 1.0
    assert told["photos"] == 3
    assert read_facts(data).serial == "2026-2"
    assert read_facts(data).measured_on


@pytest.mark.parametrize(
    ("photos", "says"),
    [
        (("0.jpg", "1.jpg"), "2 photos of the new card are too few"),
        (("0.jpg", "0.jpg", "1.jpg"), "is the same photo as"),
        (("0.jpg", "1.jpg", "gone.jpg"), "no such file"),
        (("0.jpg", "1.jpg", "old.txt"), "the file is no photo"),
    ],
)
def test_photos_that_do_not_do_are_told_and_nothing_is_written(folder, capsys, photos, says):
    assert measure(folder, *photos, out="none.txt") == 1

    said = capsys.readouterr().err
    assert says in said
    assert said.count("\n") == 1
    assert not (folder / "none.txt").exists()


def put_card(session, name="June card"):
    labs = {p.id: p.lab for p in CARD.patches}
    data = write_cgats(labs, facts=CardFacts("2026-1", "2026-03-01")).encode()
    return shelf.put(session, "card", name, Named("card.txt", data), NOON, "Ada")[0]


def put_reading(session, card, day, misfit, reasons=()):
    at = NOON + timedelta(days=day)
    table = session.scalars(select(KeptFile).where(KeptFile.kind == "table")).first()
    shot = Photo(
        tub_id="t1", sha256=f"{day:064d}", sent_sha256=f"{day:064d}", name="a.jpg", taken_at=at,
        answer={}, sent_at=at, sent_by="Ada",
    )  # fmt: skip
    session.add(shot)
    session.flush()
    data = {"card": {"found": True, "delta_e00_median": misfit}, "reasons": list(reasons)}
    session.add(
        Reading(
            photo_id=shot.id, table_id=table.id, card_id=card.id, software="1", status="accepted",
            data=data, made_at=at, made_by="Ada",
        )
    )  # fmt: skip


@pytest.fixture
def kept(tmp_path):
    """A shop with a card that fades over thirty photos."""
    with open_shop(tmp_path) as shop:
        with shop.client.app.state.store.writing() as session:
            shelf.put(session, "table", "brook", Named("t.csv", TABLE.encode()), NOON, "Ada")
            session.add(Tub(id="t1", created_at=NOON, created_by="Ada"))
            card = put_card(session)
            session.flush()
            rng = np.random.default_rng(7)
            for day in range(30):
                put_reading(session, card, day, 0.5 + 0.03 * day + rng.normal(0, 0.1))
            put_reading(session, card, 40, 9.0, ["light_warm"])
        yield shop


def test_a_fading_card_is_told_in_the_books(kept):
    with kept.client.app.state.store.reading() as session:
        (line,) = card_lines(session)

    assert (line.serial, line.measured_on, len(line.fits)) == ("2026-1", "2026-03-01", 30)
    assert line.watch.state == "fading"
    assert line.title == "June card (serial 2026-1)"


def test_the_command_says_which_card_fades(kept, monkeypatch, capsys):
    monkeypatch.setenv("DIPSTEP_HOME", str(kept.home))

    assert main(["card", "watch"]) == 0
    assert "this card is fading" in capsys.readouterr().out
    assert main(["card", "watch", "--json"]) == 0
    (card,) = json.loads(capsys.readouterr().out)["cards"]
    assert (card["state"], card["photos"]) == ("fading", 30)
    assert main(["card", "watch", "April card"]) == 1
    assert "there are: June card" in capsys.readouterr().err


def test_without_a_shop_the_command_says_what_to_set(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("DIPSTEP_HOME", str(tmp_path / "none"))

    assert main(["card", "watch"]) == 1
    assert "no shop is kept there; set DIPSTEP_HOME" in capsys.readouterr().err


def test_the_page_of_a_card_shows_its_misfit_over_time(kept):
    page = kept.client.get("/shop/cards/June%20card", headers={"accept": "text/html"})

    assert page.status_code == 200
    assert "this card is fading" in page.text
    assert "data:image/svg+xml," in page.text
    assert "2026-03-01" in page.text
    assert "this card is fading" in kept.client.get("/shop").text
    assert kept.client.get("/shop/cards/none").status_code == 404


def test_a_card_is_measured_and_kept_in_the_browser(kept, folder):
    files = [("photos", (f"{k}.jpg", (folder / f"{k}.jpg").read_bytes())) for k in range(3)]
    known = ("old.txt", (folder / "old.txt").read_bytes())
    kept.client.post("/shop/keep", data={"kind": "card", "name": "old"}, files={"file": known})
    form = {"beside": "old", "serial": "2026-2", "name": "second card"}
    answer = kept.client.post("/shop/cards", data=form, files=files, follow_redirects=False)

    assert (answer.status_code, answer.headers["location"]) == (303, "/shop/cards/second%20card")
    page = kept.client.get("/shop/cards/second%20card").text
    assert "2026-2" in page
    assert "too few photos to watch" in page


def test_photos_that_measure_no_card_are_told_on_the_page(kept, folder):
    files = [("photos", ("0.jpg", (folder / "0.jpg").read_bytes()))] * 3
    form = {"beside": "June card", "name": "second card"}
    answer = kept.client.post("/shop/cards", data=form, files=files)

    assert answer.status_code == 422
    assert "0.jpg is the same photo as 0.jpg" in answer.text
    assert kept.client.get("/shop/cards/second%20card").status_code == 404
