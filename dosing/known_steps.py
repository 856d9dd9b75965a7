"""Which step ids a log may confirm."""

from __future__ import annotations

from dosing.procedure import BUILT_IN, Procedure, load_builtin

ENGINE_STEPS = ("measure", "dose", "wait", "replace_water", "ask", "lower")
"""Beginnings of the step ids that the engine makes by itself."""


class KnownSteps:
    """Says whether a step name belongs to the procedure, a built-in one, or the engine itself."""

    def __init__(self, procedure: Procedure) -> None:
        self.names = {step.id for _, step in procedure.steps()} | {"drain", "prefilter"}
        self.all_built_in: set[str] | None = None

    def __call__(self, base: str) -> bool:
        """Say whether the name is known."""
        if base in self.names or base.split("_")[0] in ENGINE_STEPS or base == "replace_water":
            return True
        if self.all_built_in is None:
            self.all_built_in = {
                step.id for name in BUILT_IN for _, step in load_builtin(name).steps()
            }
        return base in self.all_built_in
