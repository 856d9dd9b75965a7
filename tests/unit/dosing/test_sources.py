"""The bibliography is whole."""

import re
from pathlib import Path

import pytest

from dosing.sources import READ, SourceError, cite, sources


def test_every_entry_has_a_citation_and_says_how_far_it_was_read():
    for source in sources().values():
        assert len(source.citation) > 20, source.key
        assert source.read in READ, source.key


def test_an_unknown_key_is_named():
    with pytest.raises(SourceError, match="'nobody1900' is not in the bibliography"):
        cite("nobody1900")


def test_every_key_that_data_and_tests_name_is_in_the_bibliography():
    root = Path(__file__).parents[3]
    data = [path.read_text() for path in (root / "dosing" / "data").rglob("*.toml")]
    named = {key for text in data for key in re.findall(r'source = "([^"]+)"', text)}
    for name in ("carbonate", "chlorine", "random_waters", "saturation_index"):
        text = (root / "tests" / "published" / f"test_{name}.py").read_text()
        named |= set(re.findall(r'published\("([^"]+)"\)', text))

    assert named
    assert not named - set(sources())
