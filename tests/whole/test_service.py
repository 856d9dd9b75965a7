"""The service reading real photos: what keeps nothing, what keeps, and what cannot be used."""

import json
from pathlib import Path

import pytest

from tests.whole.shop import NOON, TUB, open_shop

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_images"
PHOTO = ("01-shade.jpg", (SAMPLES / "01-shade.jpg").read_bytes())
TABLE = ("table.csv", (SAMPLES / "table.csv").read_bytes())
CARD = ("card.txt", (SAMPLES / "card-measured.txt").read_bytes())
LOG = json.loads((ROOT / "api" / "demo" / "garden-tub.json").read_text())
KIB = 1024


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    with open_shop(tmp_path_factory.mktemp("shop")) as opened:
        yield opened


@pytest.fixture(scope="module")
def client(shop):
    return shop.client


def read(client, photo=PHOTO, table=TABLE, card=CARD, **fields):
    files = {"photo": photo, "table": table, "card": card}
    sent = {name: file for name, file in files.items() if file is not None}
    return client.post("/api/read", files=sent, data=fields)


def problem(answer, status=422):
    """Return the sentence of a refusal in the one error shape."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    told = answer.json()
    assert told["status"] == status
    assert told["type"].endswith(told["code"])
    return told["detail"]


def test_a_photo_is_read_like_on_the_command_line(client):
    told = read(client, elapsed_s="15").json()

    assert told["photo"] == "01-shade.jpg"
    assert told["status"] == "accepted"
    assert [pad["analyte"] for pad in told["readings"]][:3] == [
        "free_chlorine",
        "total_chlorine",
        "ph",
    ]


def test_kept_tables_and_cards_are_named_instead_of_sent(client):
    """The sample strip and card of a checkout are always at hand."""
    sent = client.post("/api/read", files={"photo": PHOTO}, data={"table": "sample"})
    told = sent.json()

    assert told["status"] in {"accepted", "recheck"}
    assert "there is none called 'nope'; kept are: " in problem(
        client.post("/api/read", files={"photo": PHOTO}, data={"table": "nope"})
    )


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"photo": ("a.jpg", b"no photo at all")}, "a.jpg: "),
        ({"photo": ("a.jpg", b"")}, "a.jpg: "),
        ({"photo": None}, "photo: no file was sent"),
        ({"table": None}, "table: nothing was sent"),
        ({"table": ("t.csv", b"a,b,c\n")}, "t.csv"),
        ({"table": ("t.csv", b"\xff\xfe\x00")}, "t.csv"),
        ({"card": ("c.txt", b"nothing measured")}, "c.txt"),
        ({"elapsed_s": "soon"}, "elapsed_s: 'soon' is not a number of seconds"),
        ({"elapsed_s": "-1"}, "elapsed_s"),
        ({"dipped_at": "2026-06-01T10:40:40"}, "dipped_at: is no time with an offset"),
    ],
)
def test_what_cannot_be_read_says_which_part(client, wrong, says):
    assert says in problem(read(client, **wrong))


def test_a_body_that_is_no_form(client):
    assert "multipart/form-data" in problem(client.post("/api/read", json={}))
    broken = client.post(
        "/api/read", content=b"--x\r\nnonsense", headers={"content-type": "multipart/form-data"}
    )
    assert "the form cannot be read" in problem(broken, 400)


def test_an_upload_past_the_limit_is_refused_before_it_is_parsed(tmp_path):
    with open_shop(tmp_path, max_upload_bytes=64 * KIB) as small:
        said = problem(small.client.post("/api/read", content=b"x" * 65 * KIB), 413)
        assert "larger than" in said

        def endless():
            for _ in range(200):
                yield b"x" * KIB

        chunked = small.client.post(
            "/api/read",
            content=endless(),
            headers={"content-type": "multipart/form-data; boundary=x"},
        )
        problem(chunked, 413)


def test_next_answers_like_the_command_line(client):
    answer = client.post("/api/next", json=LOG, params={"at": "2026-05-18T14:55:00+02:00"})

    assert answer.status_code == 200
    assert answer.json()["step"]["kind"] == "dose"
    assert answer.json()["cautions"]


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (b"", "not JSON"),
        (b"[1]", "object"),
        (b"\xff\xfe{}", "UTF-8"),
        (json.dumps({**LOG, "procedure": "no"}).encode(), "no built-in procedure 'no'"),
        (json.dumps({**LOG, "procedure": "/etc/passwd"}).encode(), "not in the shop folder"),
        (b"[" * 100_000, "nested"),
    ],
)
def test_a_log_that_cannot_be_used_is_told(client, body, says):
    assert says in problem(client.post("/api/next", content=body))


def test_a_moment_without_offset_is_refused(client):
    assert "at" in problem(client.post("/api/next?at=2026-05-18T14:55:00", json=LOG))


def test_from_a_photo_to_the_next_step_in_the_books(client):
    tub = client.post("/api/tubs", json=TUB).json()["id"]
    sent = client.post(
        f"/api/tubs/{tub}/photos",
        files={"photo": PHOTO},
        data={"table": "sample", "card": "sample", "elapsed_s": "15"},
    )
    told = sent.json()

    assert sent.status_code == 201
    assert {event["analyte"] for event in told["entered"]} >= {"ph", "total_alkalinity"}
    assert told["next"]["step"]["text"]
    events = client.get(f"/api/tubs/{tub}/log").json()["events"]
    assert {event["at"] for event in events} == {NOON.isoformat()}
    (row,) = client.get(f"/api/tubs/{tub}/photos").json()
    assert row["table"] == "sample, version 1"
    seen = client.get(f"/api/tubs/{tub}/photos/{told['photo']}/seen")
    assert seen.headers["content-type"] == "image/jpeg"
    value = client.get(f"/api/tubs/{tub}/photos/{told['photo']}/pads/3/value")
    assert value.text.startswith("<svg")
    assert client.get(f"/api/tubs/{tub}/photos/{told['photo']}/pads/9/value").status_code == 404


def test_the_photos_own_time_tells_how_long_after_the_dip(client):
    """The sample was taken at 10:41:00+02:00 by its own account; seconds that are told win."""
    dipped = "2026-06-01T10:40:40+02:00"

    assert read(client, dipped_at=dipped).json()["elapsed_s"] == 20
    assert read(client, dipped_at=dipped, elapsed_s="16").json()["elapsed_s"] == 16


def test_a_kept_photo_keeps_how_long_after_the_dip_it_was_taken(client):
    tub = client.post("/api/tubs", json=TUB).json()["id"]
    where = f"/api/tubs/{tub}/photos"
    query = {"table": "sample", "card": "sample", "dipped_at": "2026-06-01T08:40:44Z"}
    put = client.put(f"{where}/a-key", params=query, content=PHOTO[1])
    (row,) = client.get(where).json()
    wrong = client.put(f"{where}/b-key", params={**query, "dipped_at": "soon"}, content=b"x")

    assert put.status_code == 201, put.text
    assert put.json()["reading"]["elapsed_s"] == row["elapsed_s"] == 16
    assert "dipped_at" in problem(wrong)


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 201),
        ({"sec-fetch-site": "same-origin"}, 201),
        ({"origin": "http://testserver"}, 201),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "same-site"}, 403),
        ({"origin": "http://evil.example"}, 403),
        ({"origin": "null"}, 403),
    ],
)
def test_forms_of_other_sites_are_refused(client, headers, status):
    assert client.post("/api/tubs", json=TUB, headers=headers).status_code == status


def test_every_answer_bears_the_security_headers(client):
    for path in ("/", "/health", "/api/nowhere", "/login"):
        headers = client.get(path).headers
        assert "default-src 'none'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"


def test_metrics_count_by_route(client):
    client.get("/health")
    text = client.get("/metrics").text

    assert 'dipstep_requests_total{method="GET",route="/health",status="200"}' in text
    assert 'dipstep_request_seconds_bucket{route="/health",le="+Inf"}' in text
    assert "dipstep_photos " in text


def test_the_openapi_document_names_the_errors(client):
    document = client.get("/openapi.json").json()

    assert {"400", "413", "422"} <= document["paths"]["/api/read"]["post"]["responses"].keys()
    assert "Problem" in document["components"]["schemas"]
    assert {"/api/tubs", "/api/review", "/api/tables", "/api/cards"} <= document["paths"].keys()
