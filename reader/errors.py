"""What goes wrong with a file before anything can be seen in it: one sentence each."""

from __future__ import annotations


class PhotoError(ValueError):
    """A file that is no photo we can open; the message says what is wrong and what to do."""


class CardFileError(ValueError):
    """A card's layout or measured colours that cannot be used; says file, place, fault, cure."""
