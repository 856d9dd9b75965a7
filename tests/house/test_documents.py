"""The documents stay true: verbs, routes, settings and reason codes are all described."""

import subprocess
import sys
from pathlib import Path

import pytest

from api.app import create_app
from api.cli import VERBS
from api.reasons import OWN_REASONS, all_reasons
from api.settings import NAMES, Settings
from calibration.reasons import REASONS as CHART_REASONS
from reader.reasons import REASONS as PHOTO_REASONS
from tests.house.reason_table import reason_table

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_is_in_the_readme_and_has_an_example(verb):
    shown = subprocess.run(
        [sys.executable, "-m", "api.cli", verb, "--help"], capture_output=True, text=True, cwd=ROOT
    )

    assert f"dipstep {verb}" in README
    assert shown.returncode == 0
    assert "example" in shown.stdout.lower()


def test_the_readme_lists_every_reason_as_the_program_says_it():
    """`python -m tests.house.reason_table` writes the table anew."""
    assert reason_table() in README


def test_reason_codes_do_not_clash():
    together = len(PHOTO_REASONS) + len(CHART_REASONS) + len(OWN_REASONS)

    assert len(all_reasons()) == together


@pytest.mark.parametrize("reason", all_reasons().values(), ids=all_reasons().keys())
def test_every_reason_says_what_is_wrong_and_what_to_do(reason):
    assert reason.weight in {"note", "doubt", "spoils"}
    assert len(reason.sentence.split()) >= 3
    assert len(reason.cure.split()) >= 2


@pytest.mark.parametrize("name", NAMES)
def test_every_setting_is_in_the_readme(name):
    assert f"`{name}`" in README


def test_every_call_of_the_service_is_in_the_readme(tmp_path):
    app = create_app(Settings(tmp_path, f"sqlite:///{tmp_path / 'dipstep.db'}"))
    missing = [path for path in app.openapi()["paths"] if f"`{path}`" not in README]
    app.state.store.close()

    assert missing == []


@pytest.mark.parametrize("package", ["reader", "calibration", "dosing", "api"])
def test_every_package_is_on_the_newcomers_map(package):
    assert f"`{package}" in DEVELOPERS
