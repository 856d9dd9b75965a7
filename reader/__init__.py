"""From the bytes of a photo to the colours of a strip's pads, with their covariance."""

from reader import one_thread as one_thread  # before numpy
from reader.card import Card, load_card, standard_card, with_measured
from reader.errors import CardFileError, PhotoError
from reader.find_strip import PadPlace
from reader.pads import PadColour
from reader.read_strip import StripSeen, read_strip

__all__ = [
    "Card",
    "CardFileError",
    "PadColour",
    "PadPlace",
    "PhotoError",
    "StripSeen",
    "load_card",
    "read_strip",
    "standard_card",
    "with_measured",
]
