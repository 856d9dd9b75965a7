"""The bibliography is whole."""

import pytest

from dosing.sources import READ, SourceError, cite, sources


def test_every_entry_has_a_citation_and_says_how_far_it_was_read():
    for source in sources().values():
        assert len(source.citation) > 20, source.key
        assert source.read in READ, source.key


def test_an_unknown_key_is_named():
    with pytest.raises(SourceError, match="'nobody1900' is not in the bibliography"):
        cite("nobody1900")
