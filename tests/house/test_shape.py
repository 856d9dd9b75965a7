"""Sizes and places: what stands at the top, how long a module and a function may be."""

import ast
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGES = ("reader", "calibration", "dosing", "api")
TOP_LEVEL = {
    *PACKAGES,
    *("README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml"),
    *("requirements.lock", ".ci", ".gitignore", "tests", "sample_images"),
}
MODULE_LINES = 400
FUNCTION_LINES = 60
FUNCTION = (ast.FunctionDef, ast.AsyncFunctionDef)


def kept_files():
    """Return every file git keeps."""
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return [ROOT / line for line in listed.stdout.splitlines() if (ROOT / line).exists()]


def modules():
    return [path for path in kept_files() if path.suffix == ".py"]


def test_the_top_level_holds_what_the_design_card_allows():
    assert {path.relative_to(ROOT).parts[0] for path in kept_files()} <= TOP_LEVEL


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(ROOT)))
def test_modules_and_functions_stay_short(path):
    text = path.read_text(encoding="utf-8")
    long_ones = [
        f"{node.name} at line {node.lineno}"
        for node in ast.walk(ast.parse(text))
        if isinstance(node, FUNCTION) and node.end_lineno - node.lineno + 1 > FUNCTION_LINES
    ]

    assert text.count("\n") <= MODULE_LINES
    assert not long_ones


@pytest.mark.parametrize("path", kept_files(), ids=lambda path: str(path.relative_to(ROOT)))
def test_no_file_names_a_registry_or_is_left_unfinished(path):
    if path.suffix in {".jpg", ".png", ".heic", ".pdf", ".ttf"} or path == Path(__file__):
        return
    text = path.read_text(encoding="utf-8")
    left = [
        word
        for word in (
            "pypi.org",
            "pythonhosted",
            "registry.npmjs",
            "FIXME",
            "TODO",
            "NotImplementedError",
        )
        if word in text
    ]

    assert not left
