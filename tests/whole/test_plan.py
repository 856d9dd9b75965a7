"""`dipstep plan`: the same log gives the same plan, and no amount goes without cautions."""

import json
import subprocess
import sys
from pathlib import Path

LOG = Path(__file__).parents[2] / "sample_images" / "logs" / "03-salt-in-portions.json"
AT = "2026-05-07T09:06:00+00:00"


def plan(*words):
    command = [sys.executable, "-m", "api.cli", "plan", *words]
    return subprocess.run(command, capture_output=True, text=True)


def test_the_same_log_gives_the_same_plan_with_products_and_cautions():
    first, again = (plan(str(LOG), "--at", AT, "--runs", "1", "--json") for _ in range(2))
    found = json.loads(first.stdout)

    assert first.stdout == again.stdout
    assert found["steps"]
    assert all(one["middle"] >= 0 for one in found["products_g"].values())
    assert any("acid and chlorine" in one for one in found["cautions"])


def test_people_read_what_to_bring():
    told = plan(str(LOG), "--at", AT, "--runs", "1")

    assert told.returncode == 0
    assert "Bring" in told.stdout
    assert "Never mix chemicals" in told.stdout


def test_a_broken_log_and_a_broken_number_are_told(tmp_path):
    broken = tmp_path / "broken.json"
    broken.write_text("{")

    assert plan(str(broken)).returncode == 1
    assert plan(str(broken)).stderr.startswith("dipstep: ")
    assert plan(str(LOG), "--runs", "0").returncode == 2
