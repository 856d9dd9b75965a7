"""What the engine raises when it is given something it cannot use."""

from __future__ import annotations


class LogError(ValueError):
    """A log that cannot be used; the message names the place, the fault and the cure."""


class ProcedureError(ValueError):
    """A procedure that cannot be used; the message names line, fault and cure."""
