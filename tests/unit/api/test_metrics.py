"""Counts and times: bounded, whatever strangers send, and adding up."""

import re

import pytest

from api.metrics import BOUNDS_S, Metrics
from tests.whole.canned import CannedPool
from tests.whole.shop import open_shop


@pytest.fixture
def client(tmp_path, monkeypatch):
    monkeypatch.setattr("api.app.ReadingPool", CannedPool)
    with open_shop(tmp_path / "home") as shop:
        yield shop.client


def test_invented_methods_and_paths_make_no_new_lines(client):
    for place in range(5):
        client.request(f"MADE{place}", "/health")
        client.get(f"/nowhere/{place}")
    counted = re.findall(r"dipstep_requests_total\{(.*?)\}", client.get("/metrics").text)

    assert 'method="other",route="/health",status="405"' in counted
    assert 'method="GET",route="other",status="404"' in counted
    assert len(counted) <= 3


def test_a_histogram_adds_up():
    metrics = Metrics()
    for seconds in (0.01, 0.2, 99.0):
        metrics.begin()
        assert metrics.busy()
        metrics.count("GET", "/tubs", 200, seconds)
    assert not metrics.busy()
    text = metrics.text({"tubs": 500.0})

    buckets = [int(one) for one in re.findall(r'_bucket\{route="/tubs",le="[^"]+"\} (\d+)', text)]
    assert len(buckets) == len(BOUNDS_S) + 1
    assert buckets == sorted(buckets)
    assert buckets[-1] == 3
    assert 'dipstep_request_seconds_count{route="/tubs"} 3' in text
    assert 'dipstep_request_seconds_sum{route="/tubs"} 99.210' in text
    assert "dipstep_tubs 500" in text
