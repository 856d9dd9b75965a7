"""What a person's browser is shown when something cannot be: a page with a sentence, never JSON."""

import pytest

from api.settings import MIB
from tests.whole.canned import CannedPool
from tests.whole.shop import open_shop

HTML = {"Accept": "text/html"}


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.setattr("api.app.ReadingPool", CannedPool)
    with open_shop(tmp_path, max_upload_bytes=MIB) as opened:
        yield opened


@pytest.mark.parametrize(
    ("method", "path", "sent", "status", "told"),
    [
        ("GET", "/nothing", {}, 404, "There is nothing at /nothing."),
        ("GET", "/tubs/none", {}, 404, "choose one from the list of tubs"),
        ("POST", "/", {"content": b"x" * (MIB + 1)}, 413, "The upload is larger than 1 MiB"),
        ("POST", "/tubs", {"headers": {"Origin": "https://other.example"}}, 403, "another site"),
    ],
)
def test_a_person_gets_a_page_and_a_program_a_problem(shop, method, path, sent, status, told):
    headers = sent.pop("headers", {})
    page = shop.client.request(method, path, headers={**HTML, **headers}, **sent)
    problem = shop.client.request(method, path, headers=headers, **sent)

    assert page.status_code == problem.status_code == status
    assert 'role="alert"' in page.text
    assert told in page.text
    assert "openapi" not in page.text
    assert "content-security-policy" in page.headers
    assert problem.headers["content-type"] == "application/problem+json"
