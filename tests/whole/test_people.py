"""Who is let in: nobody who does not belong, from anywhere."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from api import people
from tests.whole.canned import CannedPool
from tests.whole.shop import NOON, TUB, open_shop

ROOT = Path(__file__).parents[2]
WORD = "nine brown otters"
OPEN = ("/health", "/login", "/openapi.json", "/static/look.css")


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.setattr("api.app.ReadingPool", CannedPool)
    with open_shop(tmp_path, alone=False) as opened:
        with opened.client.app.state.store.writing() as session:
            for name, role in (("Tess", "technician"), ("Quinn", "qa"), ("Kay", "keeper")):
                people.add_member(session, name, role, WORD, NOON)
        yield opened


def log_in(shop, name):
    answer = shop.client.post(
        "/login", data={"name": name, "password": WORD}, follow_redirects=False
    )
    assert answer.status_code == 303, answer.text
    return answer


def test_a_stranger_sees_nothing_but_the_door(shop):
    document = shop.client.get("/openapi.json").json()
    for path, calls in document["paths"].items():
        if path in OPEN:
            continue
        for method in calls:
            where = path.replace("{", "").replace("}", "")
            answer = shop.client.request(method, where)
            assert answer.status_code == 401, f"{method} {path}: {answer.status_code}"
    for path in OPEN:
        assert shop.client.get(path).status_code == 200


@pytest.mark.parametrize("body", [b"{broken", b"[" * 100_000, b'{"name": 1}', b"x" * 9_000_000])
@pytest.mark.parametrize("path", ["/api/tubs", "/api/review/1", "/api/control/dips", "/api/next"])
def test_a_strangers_body_is_not_parsed(shop, path, body):
    sent = {"Content-Type": "application/json"}
    answer = shop.client.post(path, content=body, headers=sent)

    assert answer.status_code == (401 if len(body) < 8 * 1024**2 else 413)
    assert answer.headers["content-type"] == "application/problem+json"


def test_json_has_a_limit_of_its_own(shop):
    log_in(shop, "Tess")
    sent = {"Content-Type": "application/json"}
    answer = shop.client.post("/api/tubs", content=b" " * 9_000_000, headers=sent)

    assert answer.status_code == 413
    assert "8 MiB" in answer.json()["detail"]


def test_a_stranger_may_send_a_name_and_a_password_and_no_more(shop):
    answer = shop.client.post("/login", data={"name": "Tess", "password": "x" * 70_000})

    assert answer.status_code == 413
    assert "64 KiB" in answer.text


def test_a_person_who_errs_sees_a_page(shop):
    log_in(shop, "Tess")
    for path in ("/tubs/nope", "/nowhere", "/shop/tables/nope"):
        answer = shop.client.get(path, headers={"accept": "text/html"})
        assert answer.status_code == 404
        assert 'role="alert"' in answer.text
        assert "openapi" not in answer.text
    assert shop.client.get("/tubs/nope").headers["content-type"] == "application/problem+json"


def test_a_stranger_with_a_browser_is_led_to_the_door(shop):
    answer = shop.client.get("/", headers={"accept": "text/html"}, follow_redirects=False)

    assert answer.status_code == 303
    assert answer.headers["location"] == "/login?next=/"


def test_a_member_comes_in_and_goes_out(shop):
    answer = log_in(shop, "Tess")

    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=lax" in cookie
    assert shop.client.get("/api/tubs").status_code == 200
    made = shop.client.post("/api/tubs", json=TUB)
    assert made.status_code == 201
    shop.client.post("/logout")
    assert shop.client.get("/api/tubs").status_code == 401


@pytest.mark.parametrize(
    ("name", "review", "table"), [("Tess", 403, 403), ("Quinn", 404, 403), ("Kay", 404, 422)]
)
def test_each_role_may_what_is_its_own(shop, name, review, table):
    log_in(shop, name)

    assert shop.client.post("/api/review/1", json={"decision": "accept"}).status_code == review
    assert shop.client.post("/api/tables", files={"file": b"x"}).status_code == table
    assert shop.client.get("/api/members").status_code == (200 if name == "Kay" else 403)


def test_wrong_passwords_are_limited(shop):
    for _ in range(people.TRIES_BY_NAME):
        wrong = shop.client.post("/login", data={"name": "Tess", "password": "guess"})
        assert wrong.status_code == 401
        assert "Name or password is wrong" in wrong.text
    answer = shop.client.post("/login", data={"name": "Tess", "password": WORD})

    assert answer.status_code == 429
    assert "wait 15 minutes" in answer.text


def test_a_key_lets_a_program_in_until_it_is_revoked(shop):
    log_in(shop, "Kay")
    key = shop.client.post("/api/tokens", json={"name": "till"}).json()
    shop.client.cookies.clear()
    bearer = {"Authorization": f"Bearer {key['secret']}"}
    assert shop.client.get("/api/tubs", headers=bearer).status_code == 200
    assert shop.client.delete(f"/api/tokens/{key['id']}", headers=bearer).status_code == 204
    assert shop.client.get("/api/tubs", headers=bearer).status_code == 401


@pytest.mark.parametrize("onward", ["//evil.example", "https://evil.example", "/\\evil.example"])
def test_the_door_leads_to_no_other_site(shop, onward):
    answer = shop.client.post(
        "/login",
        data={"name": "Tess", "password": WORD, "next": onward},
        follow_redirects=False,
    )

    assert answer.headers["location"] == "/"


def test_alone_on_this_machine_nobody_need_log_in_until_a_member_exists(tmp_path, monkeypatch):
    monkeypatch.setattr("api.app.ReadingPool", CannedPool)
    with open_shop(tmp_path) as alone:
        assert alone.client.get("/api/tubs").status_code == 200
        far = alone.client.get("/api/tubs", headers={"host": "shop.evil.example"})
        assert far.status_code == 401
        made = alone.client.post("/api/members", json={"name": "Kay", "password": WORD})
        assert (made.status_code, made.json()["role"]) == (201, "keeper")
        assert alone.client.get("/api/tubs").status_code == 401


def serve(tmp_path, *words):
    env = {**os.environ, "DIPSTEP_HOME": str(tmp_path / "home"), "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "api.cli", "serve", *words]
    return subprocess.run(command, capture_output=True, text=True, env=env, timeout=60)


def test_on_any_other_address_it_refuses_to_start_without_a_member(tmp_path):
    done = serve(tmp_path, "--host", "0.0.0.0", "--port", "8977")  # noqa: S104

    assert done.returncode == 1
    assert "add one first: dipstep member add NAME --role keeper" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--host", "no.such.host.invalid"), "cannot listen on no.such.host.invalid"),
        (("--port", "1", "--host", "203.0.113.9"), "cannot listen on 203.0.113.9"),
        (("--cert", "/none", "--key", "/none"), "/none"),
    ],
)
def test_an_address_or_certificate_that_cannot_be_used(tmp_path, words, says):
    done = serve(tmp_path, *words)

    assert done.returncode == 1
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_a_key_is_shown_once_works_and_is_taken_back_on_its_page(shop):
    """A technician makes one of their own; only a keeper takes keys back."""
    log_in(shop, "Tess")
    form = {"name": (None, "van <1>")}
    made = shop.client.post("/shop/keys", files=form, headers={"Accept": "text/html"}).text
    secret = made.split('class="secret">')[1].split("<")[0]
    assert secret.startswith("dip_")
    assert secret not in shop.client.get("/shop/keys").text
    assert "van &lt;1&gt;" in made
    gone = {"files": {"id": (None, "1")}, "follow_redirects": False}
    assert shop.client.post("/shop/keys/revoke", **gone).status_code == 403
    shop.client.cookies.clear()
    bearer = {"Authorization": f"Bearer {secret}"}
    assert shop.client.get("/api/tubs", headers=bearer).status_code == 200

    log_in(shop, "Kay")
    assert "Take back" in shop.client.get("/shop/keys").text
    assert shop.client.post("/shop/keys/revoke", **gone).status_code == 303
    assert shop.client.post("/shop/keys/revoke", **gone).status_code == 404
    shop.client.cookies.clear()
    assert shop.client.get("/api/tubs", headers=bearer).status_code == 401
