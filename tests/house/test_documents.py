"""The documents stay true: verbs, routes, settings and reason codes are all described."""

import subprocess
import sys
from pathlib import Path

import pytest

from api.cli import VERBS
from calibration.reasons import REASONS as CHART_REASONS
from reader.reasons import REASONS as PHOTO_REASONS

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


@pytest.mark.parametrize("code", sorted({*PHOTO_REASONS, *CHART_REASONS}))
def test_every_reason_code_is_in_the_readme(code):
    assert f"`{code}`" in README


def test_reason_codes_of_photo_and_chart_do_not_clash():
    assert not set(PHOTO_REASONS) & set(CHART_REASONS)


@pytest.mark.parametrize("code", sorted({*PHOTO_REASONS, *CHART_REASONS}))
def test_every_reason_says_what_is_wrong_and_what_to_do(code):
    reason = {**PHOTO_REASONS, **CHART_REASONS}[code]

    assert reason.weight in {"note", "doubt", "spoils"}
    assert reason.sentence
    assert reason.cure


@pytest.mark.parametrize("package", ["reader", "calibration", "dosing", "api"])
def test_every_package_is_on_the_newcomers_map(package):
    assert f"`{package}" in DEVELOPERS
