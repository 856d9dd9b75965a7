"""The house rules that tools can check: style, types, import contracts, an up-to-date lock."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
BIN = Path(sys.executable).parent

CHECKS = {
    "ruff finds nothing": [BIN / "ruff", "check", "--no-cache", "."],
    "ruff has formatted everything": [BIN / "ruff", "format", "--no-cache", "--check", "."],
    "mypy is content": [sys.executable, "-m", "mypy"],
    "the import contracts are kept": [BIN / "lint-imports", "--no-cache"],
}


@pytest.mark.parametrize("command", CHECKS.values(), ids=CHECKS.keys())
def test_check(command):
    done = subprocess.run([str(word) for word in command], cwd=ROOT, capture_output=True, text=True)

    assert done.returncode == 0, done.stdout + done.stderr
