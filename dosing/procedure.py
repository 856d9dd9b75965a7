"""A procedure: stages of steps and gates, every limit with its unit and source."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from dosing.errors import ProcedureError

BUILT_IN = ("salt_startup", "chlorine_startup", "bromine_startup", "upkeep")
"""The procedures that come with the program."""


@dataclass(frozen=True)
class Limit:
    """A number with its unit and the key of its source."""

    value: float
    unit: str
    source: str


@dataclass(frozen=True)
class Gate:
    """A quantity that must lie between two limits before the next step may begin."""

    id: str
    analyte: str
    sample: str
    low: Limit | None
    high: Limit | None
    aim_up: Limit | None
    """Where a dose that raises it aims."""
    aim_down: Limit | None
    """Where a dose that lowers it aims."""
    raise_with: tuple[str, ...]
    """Product kinds that raise it, in order of preference; `air` is jets with the air open."""
    lower_with: tuple[str, ...]
    """Product kinds that lower it; `time` waits, `new_water` replaces a share."""
    first_share: Limit | None
    """Share of the whole computed amount that goes in first."""
    later_share: Limit | None
    """Share of the whole computed amount that each later portion may be."""
    keeps_ph: Limit | None
    """No dose may be expected to bring the pH below this."""
    air: Limit | None
    """How long jets and air run before the next look [h]."""
    remedy: str
    """Id of the step that a person does when the fill water fails, such as a prefilter."""
    every: Limit | None
    """How often it is measured in upkeep [d]."""
    text: str
    only_with: str
    kind: str = "gate"


@dataclass(frozen=True)
class Confirm:
    """Something a person does and confirms."""

    id: str
    action: str
    value: Limit | None
    after_dose: str
    """Kind of product after whose dose it is due; empty when it is due once, in its turn."""
    times: Limit | None
    rest: Limit | None
    """Time before each [h]."""
    every: Limit | None
    """How often it returns in upkeep [d]."""
    text: str
    only_with: str
    litres_each: Limit | None = None
    """Litres that one bather uses up: the water's share of a day by bathers [L]."""
    solids: Limit | None = None
    """Dissolved solids over those at the start at which it is due [mg/L]."""
    kind: str = "confirm"


@dataclass(frozen=True)
class Wait:
    """A time that must pass after a step."""

    id: str
    since: str
    rest: Limit
    text: str
    only_with: str
    kind: str = "wait"


@dataclass(frozen=True)
class Hold:
    """A residual that must be left after a day without a dose."""

    id: str
    analyte: str
    low: Limit
    high: Limit
    aim_up: Limit
    """What it is dosed back to."""
    rest: Limit
    """When to look after the last dose [h]."""
    judged_after: Limit
    """The soonest a reading counts after the last dose [h]."""
    since: str
    """The step that must be done first; may be empty."""
    raise_with: tuple[str, ...]
    text: str
    only_with: str
    sample: str = "tub"
    kind: str = "hold"


@dataclass(frozen=True)
class Tune:
    """The generator's output is set to the use."""

    id: str
    analyte: str
    aim: Limit
    least: Limit
    since: str
    text: str
    only_with: str
    kind: str = "tune"


@dataclass(frozen=True)
class Test:
    """Quantities that are measured once, for what comes later."""

    id: str
    analytes: tuple[str, ...]
    sample: str
    text: str
    only_with: str
    kind: str = "test"


Step = Gate | Confirm | Wait | Hold | Tune | Test


@dataclass(frozen=True)
class Stage:
    """Steps in their order, under one name."""

    id: str
    title: str
    steps: tuple[Step, ...]
    until: str
    """Id of the step after which this stage is not looked at again; may be empty."""


@dataclass(frozen=True)
class Never:
    """A product that must not be in this water, and what follows when it was used."""

    kind: str
    rule: str
    """`drain`, or `sensor_waits`."""
    rest: Limit | None
    source: str
    text: str
    only_with: str = ""
    """What a tub has that the rule is about, as with steps; empty for every tub."""


@dataclass(frozen=True)
class Apart:
    """Two kinds of product that are kept apart in time."""

    kinds: tuple[str, ...]
    rest: Limit


@dataclass(frozen=True)
class Procedure:
    """A whole procedure, in order."""

    name: str
    title: str
    sanitizers: tuple[str, ...]
    ends: bool
    """False for upkeep, which never is complete."""
    mixing: Mapping[str, Limit]
    """Time of jets after a dose before a reading counts, by product kind [min]."""
    aparts: tuple[Apart, ...]
    nevers: tuple[Never, ...]
    stages: tuple[Stage, ...]

    def steps(self) -> Iterator[tuple[Stage, Step]]:
        """Yield every step with its stage, in order."""
        for stage in self.stages:
            for step in stage.steps:
                yield stage, step

    def gates(self) -> Iterator[tuple[Stage, Gate | Hold]]:
        """Yield every gate on a quantity with its stage, in order."""
        for stage, step in self.steps():
            if isinstance(step, Gate | Hold):
                yield stage, step


@lru_cache(maxsize=8)
def load_builtin(name: str) -> Procedure:
    """Return a procedure that comes with the program; raise `ProcedureError` for another name."""
    if name not in BUILT_IN:
        raise ProcedureError(
            f"there is no built-in procedure {name!r}; built in are {', '.join(BUILT_IN)}, "
            "or give the path of your own file"
        )
    text = (Path(__file__).parent / "data" / "procedures" / f"{name}.toml").read_text(
        encoding="utf-8"
    )
    return load_procedure(text, f"{name}.toml")


def load_procedure(text: str, name: str) -> Procedure:
    """Return the checked procedure of a TOML text called `name` in messages.

    Raises
    ------
    ProcedureError
        For the first fault: the line, what is wrong, what to do.
    """
    from dosing.procedure_file import read_procedure

    return read_procedure(text, name)
