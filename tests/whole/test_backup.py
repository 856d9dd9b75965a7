"""A backup is one folder, restored by another command, on either database."""

import json
import uuid
from dataclasses import replace
from datetime import UTC, datetime

import psycopg
import pytest

from api.backup import BackupError, back_up, restore
from api.settings import Settings
from tests.whole.shop import TABLE, TUB, open_shop

JPEG = b"\xff\xd8\xff\xe0 a photo"
NOW = datetime(2026, 6, 2, tzinfo=UTC)
PH = {"at": "2026-06-01T11:00:00+00:00", "type": "reading", "analyte": "ph", "value": 7.4,
      "unit": "pH", "source": "drop_test"}  # fmt: skip


@pytest.fixture
def kept(shop, database_url):
    """Return the settings of a shop with something of everything in it, and what it says."""
    client = shop.client
    client.post("/api/tables", files={"file": ("t.csv", TABLE)}, data={"name": "six"})
    tub = client.post("/api/tubs", json=TUB).json()["id"]
    client.post(f"/api/tubs/{tub}/photos", files={"photo": ("a.jpg", JPEG)}, data={"table": "six"})
    first = client.post(f"/api/tubs/{tub}/events", json={**PH, "value": 7.9}).json()["id"]
    client.post(f"/api/tubs/{tub}/events", json=PH, params={"replaces": first})
    review = client.get("/api/review").json()[0]["id"]
    client.post(f"/api/review/{review}", json={"decision": "accept", "note": "sure"})
    return Settings(shop.home, database_url, readers=1), said(client, tub), tub


def said(client, tub):
    """Return everything a shop says of its tub."""
    paths = ("/api/tubs", f"/api/tubs/{tub}/log", f"/api/tubs/{tub}/photos", "/api/tables")
    told = [client.get(path).json() for path in (*paths, "/api/review?decided=true")]
    photo = client.get(f"/api/tubs/{tub}/photos").json()[0]["photo"]
    return [*told, client.get(f"/api/tubs/{tub}/photos/{photo}/image").content]


def test_what_is_restored_says_the_same_and_goes_on(kept, tmp_path, request, database_url):
    settings, before, tub = kept
    manifest = back_up(settings, tmp_path / "backup", NOW)
    assert "dipstep.db" in manifest["files"]
    other = replace(settings, home=tmp_path / "other", database_url=empty(tmp_path, database_url))
    restore(other, tmp_path / "backup")

    with open_shop(other.home, other.database_url) as opened:
        assert said(opened.client, tub) == before
        event = {**PH, "value": 7.3, "at": "2026-06-01T11:30:00+00:00"}
        assert opened.client.post(f"/api/tubs/{tub}/events", json=event).status_code == 201
        table = TABLE.replace(",6.8,78,", ",6.8,77,")
        again = opened.client.post(
            "/api/tables", files={"file": ("t.csv", table)}, data={"name": "six"}
        )
        assert again.json()["version"] == 2


def empty(tmp_path, like):
    """Return the address of an empty database of the same kind."""
    if like.startswith("sqlite"):
        return f"sqlite:///{tmp_path / 'other' / 'dipstep.db'}"
    server, name = like.rsplit("/", 1)[0], f"other_{uuid.uuid4().hex}"
    with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    return f"{server}/{name}"


def test_a_damaged_backup_is_refused_before_anything_is_written(kept, tmp_path):
    settings, _, _ = kept
    manifest = back_up(settings, tmp_path / "backup", NOW)
    photo = next(name for name in manifest["files"] if name.startswith("photos/"))
    (tmp_path / "backup" / photo).write_bytes(b"bit rot")
    other = replace(settings, home=tmp_path / "other", database_url=f"sqlite:///{tmp_path / 'o'}")

    with pytest.raises(BackupError, match="is missing or damaged; take another backup"):
        restore(other, tmp_path / "backup")
    assert not (tmp_path / "other").exists()


def test_nothing_is_written_over(kept, tmp_path):
    settings, _, _ = kept
    back_up(settings, tmp_path / "backup", NOW)

    with pytest.raises(BackupError, match="exists already; name a new folder"):
        back_up(settings, tmp_path / "backup", NOW)
    with pytest.raises(BackupError, match="is not empty; set DIPSTEP_HOME to a new folder"):
        restore(settings, tmp_path / "backup")


def test_a_folder_that_is_no_backup(tmp_path):
    settings = Settings(tmp_path / "home", f"sqlite:///{tmp_path / 'b.db'}")
    (tmp_path / "manifest.json").write_text(json.dumps({"files": 3}))

    with pytest.raises(BackupError, match="is no backup of Dipstep"):
        restore(settings, tmp_path)
    with pytest.raises(BackupError, match="is no shop folder"):
        back_up(settings, tmp_path / "backup", NOW)
