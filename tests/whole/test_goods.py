"""The shop's own products and procedures: checked, kept by version, retired, used by the tubs."""

from importlib.resources import files

import pytest
from sqlalchemy import update

from api import books
from api.store import Tub
from tests.whole.shop import TUB

ACID = '[[product]]\nid = "van-acid"\nkind = "acid"\nformula = "NaHSO4"\npurity = 0.9\n'
SODA = (
    '\n[[product]]\nid = "van-soda"\nkind = "base_carbonate"\nformula = "Na2CO3"\npurity = 0.97\n'
)
UPKEEP = (files("dosing") / "data" / "procedures" / "upkeep.toml").read_text(encoding="utf-8")


def keep(shop, kind, name, text, file="own.toml"):
    sent = {"file": (file, text.encode())}
    return shop.client.post(f"/api/{kind}", files=sent, data={"name": name})


def add_tub(shop, **fields):
    made = shop.client.post("/api/tubs", json={**TUB, "procedure": "upkeep", **fields})
    assert made.status_code == 201, made.text
    return f"/api/tubs/{made.json()['id']}"


def enter(shop, tub, **event):
    sent = {"at": shop.clock().isoformat(), **event}
    shop.clock.move(seconds=1)
    return shop.client.post(f"{tub}/events", json=sent)


def ids(shop, tub):
    return [one["id"] for one in shop.client.get(f"{tub}/log").json().get("products", [])]


def page(shop, path="/shop/goods"):
    return shop.client.get(path, headers={"Accept": "text/html"}).text


def test_a_tub_is_dosed_from_the_shops_own_products(shop):
    tub = add_tub(shop)
    assert ids(shop, tub) == []
    assert keep(shop, "products", "van", ACID + SODA).status_code == 201

    enter(shop, tub, type="reading", analyte="total_alkalinity", value=90, unit="mg/L",
          source="drop_test")  # fmt: skip
    enter(shop, tub, type="reading", analyte="calcium_hardness", value=50, unit="mg/L",
          source="drop_test")  # fmt: skip
    assert ids(shop, tub) == ["van-acid", "van-soda"]
    assert enter(shop, tub, type="dose", product="van-acid", amount_g=5).status_code == 201
    assert "van-acid" in page(shop, tub.removeprefix("/api"))
    assert "90 % pure" in page(shop)


def test_what_was_dosed_stays_known_when_it_leaves_the_list(shop):
    """A log once written can always be read, whatever the van carries today."""
    tub = add_tub(shop)
    assert enter(shop, tub, type="dose", product="dry-acid", amount_g=5).status_code == 201
    keep(shop, "products", "van", ACID)
    assert ids(shop, tub) == ["van-acid", "dry-acid"]
    enter(shop, tub, type="dose", product="van-acid", amount_g=5)
    keep(shop, "products", "van", SODA)
    assert sorted(ids(shop, tub)) == ["dry-acid", "van-acid", "van-soda"]

    assert shop.client.delete("/api/products/van").status_code == 204
    assert "van-acid" in ids(shop, tub)
    assert "van-soda" not in ids(shop, tub)
    assert shop.client.get(f"{tub}/next").status_code == 200


def doses(shop, tub):
    """Return the doses of the log, each with the purity it stands with and whether it is former."""
    log = shop.client.get(f"{tub}/log").json()
    known = {one["id"]: one for one in log.get("products", [])}
    given = [known.get(one["product"], {}) for one in log["events"] if one["type"] == "dose"]
    return [(one.get("purity"), one.get("former", False)) for one in given]


def test_a_newer_strength_counts_from_now_on(shop):
    """What went into the water before was the product as it was then."""
    keep(shop, "products", "van", ACID)
    tub = add_tub(shop)
    shop.clock.move(hours=1)
    for analyte, value, unit in (("total_alkalinity", 90, "mg/L"), ("ph", 8.0, "pH")):
        enter(shop, tub, type="reading", analyte=analyte, value=value, unit=unit,
              source="drop_test")  # fmt: skip
    enter(shop, tub, type="dose", product="van-acid", amount_g=20)
    shop.clock.move(minutes=1)
    before = shop.client.get(f"{tub}/next").json()
    assert before["expect"]["ph"]

    assert keep(shop, "products", "van", ACID.replace("0.9", "0.45")).status_code == 201
    after = shop.client.get(f"{tub}/next").json()
    assert after["expect"] == before["expect"]
    assert doses(shop, tub) == [(0.9, True)]
    shop.clock.move(hours=1)
    assert enter(shop, tub, type="dose", product="van-acid", amount_g=5).status_code == 201
    assert doses(shop, tub) == [(0.9, True), (0.45, False)]
    late = {"at": shop.clock.at.replace(hour=12, minute=50).isoformat(), "product": "van-acid"}
    sent = shop.client.post(f"{tub}/events", json={**late, "type": "dose", "amount_g": 7})
    assert sent.status_code == 201
    assert doses(shop, tub) == [(0.9, True), (0.9, True), (0.45, False)]
    shown = page(shop, tub.removeprefix("/api"))
    assert shown.count('<option value="van-acid') == 1
    assert "20 g of van-acid added" in shown


def test_a_tubs_own_product_keeps_what_it_did(shop):
    own = {"id": "own-acid", "kind": "acid", "formula": "NaHSO4", "purity": 0.9}
    tub = add_tub(shop, products=[own])
    shop.clock.move(hours=1)
    enter(shop, tub, type="dose", product="own-acid", amount_g=20)
    shop.clock.move(hours=1)
    weaker = {"products": [{**own, "purity": 0.5}]}
    assert shop.client.patch(tub, json=weaker).status_code == 200
    enter(shop, tub, type="dose", product="own-acid", amount_g=20)

    assert doses(shop, tub) == [(0.9, True), (0.5, False)]


def test_what_left_the_list_is_never_advised(shop):
    """Its past doses count; the van carries it no longer."""
    keep(shop, "products", "van", ACID + SODA)
    tub = add_tub(shop)
    shop.clock.move(hours=1)
    enter(shop, tub, type="dose", product="van-acid", amount_g=3)
    keep(shop, "products", "van", SODA)
    shop.clock.move(hours=5)
    for analyte, value, unit in (
        ("total_alkalinity", 90, "mg/L"),
        ("calcium_hardness", 50, "mg/L"),
        ("ph", 8.4, "pH"),
        ("ph", 8.4, "pH"),
    ):
        enter(shop, tub, type="reading", analyte=analyte, value=value, unit=unit,
              source="drop_test")  # fmt: skip
    step = shop.client.get(f"{tub}/next").json()["step"]
    assert step["product"] != "van-acid"
    assert step["kind"] != "dose" or step["product"] == "van-soda"


def test_the_line_of_a_fault_is_named_and_nothing_is_kept(shop):
    wrong = ACID + SODA.replace("0.97", "97")
    told = keep(shop, "products", "van", wrong)

    assert told.status_code == 422
    assert "own.toml, line 7" in told.json()["detail"]
    assert "'purity' is 97" in told.json()["detail"]
    assert shop.client.get("/api/products").json() == []


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("[[product]\n", "line 1"),
        ('{"products": [{"id": 1}]}', "line 1"),
        ("[1]", "is no list of products"),
        ("x = 1", "is no list of products"),
        ("[]", "holds no product"),
        ('[{"a":' * 5000, "nested too deep"),
        (ACID.replace("NaHSO4", "NaCl"), "does not fit a product of kind acid"),
    ],
)
def test_a_list_that_cannot_be_used_is_told_in_one_sentence(shop, text, why):
    told = keep(shop, "products", "van", text)

    assert told.status_code == 422
    assert why in told.json()["detail"]


def test_one_id_means_one_thing(shop):
    keep(shop, "products", "van", ACID)
    other = ACID.replace('"acid"', '"salt"').replace("NaHSO4", "NaCl")

    assert "its own id" in keep(shop, "products", "van", other).json()["detail"]
    assert "stands in the list 'van'" in keep(shop, "products", "shed", ACID).json()["detail"]


def test_followers_are_asked_while_others_may_write(shop, monkeypatch):
    """Hundreds of tubs take the engine a minute; a photo must not wait for that."""
    assert keep(shop, "procedures", "ours", UPKEEP).status_code == 201
    tub = add_tub(shop, procedure="ours.toml")
    store, asked, plain = shop.client.app.state.store, [], books.checked_answer

    def meanwhile(log, desk):
        asked.append(log["tub"]["name"])
        with store.writing() as session:
            session.execute(update(Tub).values(created_by="another"))
        return plain(log, desk)

    monkeypatch.setattr(books, "checked_answer", meanwhile)
    assert keep(shop, "procedures", "ours", UPKEEP + "\n").status_code == 201
    assert asked == ["Garden tub"]
    monkeypatch.undo()
    assert shop.client.get(f"{tub}/next").status_code == 200


def test_an_own_procedure_is_chosen_followed_and_made_newer(shop):
    assert keep(shop, "procedures", "ours", UPKEEP).status_code == 201
    tub = add_tub(shop, procedure="ours.toml")
    assert "ours.toml" in page(shop, tub.removeprefix("/api"))
    assert shop.client.get(f"{tub}/next").json()["step"]["kind"] == "measure"

    stricter = UPKEEP.replace("7.8", "7.6")
    assert stricter != UPKEEP
    kept = keep(shop, "procedures", "ours.toml", stricter)
    assert (kept.status_code, kept.json()["version"]) == (201, 2)
    gates = {one["id"]: one for one in shop.client.get(f"{tub}/next").json()["gates"]}
    assert gates["ph"]["high"] == 7.6
    assert "1 tub on it" in page(shop)


def test_a_version_a_tub_cannot_go_on_with_is_refused(shop):
    keep(shop, "procedures", "ours", UPKEEP)
    add_tub(shop, procedure="ours.toml", name="Wren Cottage")
    only_bromine = UPKEEP.replace("ends =", 'sanitizers = ["bromine"]\nends =')
    told = keep(shop, "procedures", "ours", only_bromine)

    assert told.status_code == 422
    assert "Wren Cottage follows ours.toml" in told.json()["detail"]
    assert [one["version"] for one in shop.client.get("/api/procedures").json()] == [1]


def test_a_retired_procedure_is_offered_no_longer_but_followed_on(shop):
    keep(shop, "procedures", "ours", UPKEEP)
    tub = add_tub(shop, procedure="ours.toml")
    assert shop.client.delete("/api/procedures/ours.toml").status_code == 204

    assert shop.client.get(f"{tub}/next").status_code == 200
    assert '<option value="ours.toml"' not in page(shop, "/tubs")


def test_a_procedures_fault_is_told_with_its_line_on_the_page(shop):
    sent = {"file": ("ours.toml", UPKEEP.replace('unit = "pH"', 'unit = "mg/L"', 1).encode())}
    told = shop.client.post(
        "/shop/goods/keep", files=sent, data={"kind": "procedure", "name": "ours"}
    )

    assert told.status_code == 422
    assert "line" in told.text
    assert 'class="trouble"' in told.text


def test_the_built_in_files_can_be_had_to_start_from(shop):
    generic = shop.client.get("/shop/goods/generic-products.toml")
    assert keep(shop, "products", "van", generic.text).status_code == 201
    built_in = shop.client.get("/shop/goods/built-in/salt_startup.toml")
    assert keep(shop, "procedures", "start", built_in.text).status_code == 201
    assert shop.client.get("/shop/goods/built-in/other.toml").status_code == 404


def test_what_is_said_of_a_tub_changes_on_its_page(shop):
    tub = add_tub(shop).removeprefix("/api")
    said = {"name": "Elm Yard", "volume_l": "1100", "temperature_c": "36,5",
            "sanitizer": "salt_chlorine", "procedure": "salt_startup"}  # fmt: skip

    changed = shop.client.post(tub, data=said, follow_redirects=True)
    assert changed.status_code == 200
    assert "Elm Yard" in changed.text
    assert "salt startup" in changed.text
    refused = shop.client.post(tub, data={**said, "volume_l": "-4"})
    assert refused.status_code == 422
    assert "volume_l" in refused.text
    assert shop.client.get(f"/api{tub}").json()["volume_l"] == 1100
