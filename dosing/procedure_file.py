"""The TOML file of a procedure, checked line by line."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Mapping
from typing import Any

from dosing.analytes import ANALYTES
from dosing.errors import ProcedureError
from dosing.log import SAMPLES, SANITIZERS
from dosing.procedure import (
    Apart,
    Confirm,
    Gate,
    Hold,
    Limit,
    Never,
    Procedure,
    Stage,
    Step,
    Test,
    Tune,
    Wait,
)
from dosing.procedure_table import Lines, Table, example
from dosing.products import KINDS as KNOWN_KINDS

ACTIONS = (
    *("prefilter", "cell_in", "fill", "power_on", "heat", "generator_output", "circulate"),
    *("clean_filter", "sensor_in", "drain", "purge"),
)
KINDS = tuple(KNOWN_KINDS)
HELPS = (*KINDS, "air", "time", "new_water")
ONLY_WITH = ("", "sensor", "generator", "no_generator", "chlorine", "bromine")
RULES = ("drain", "sensor_waits")
TIME_UNITS = {"min": 1.0 / 60.0, "h": 1.0, "d": 24.0}
"""Hours in each unit of time."""

_STEP_KEYS = {
    "gate": (
        *("analyte", "sample", "low", "high", "aim_up", "aim_down", "raise_with", "lower_with"),
        *("first_share", "later_share", "keeps_ph", "air", "remedy", "every"),
    ),
    "confirm": (
        *("action", "value", "after_dose", "times", "rest", "every"),
        *("litres_each", "solids"),
    ),
    "wait": ("since", "rest"),
    "hold": ("analyte", "low", "high", "aim_up", "rest", "judged_after", "since", "raise_with"),
    "tune": ("analyte", "aim", "least", "since"),
    "test": ("analytes", "sample"),
}


def read_procedure(text: str, name: str) -> Procedure:
    """Return the checked procedure; raise `ProcedureError` with line, fault and cure."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise ProcedureError(f"{name}: this is not TOML: {fault}; correct that line") from None
    return _File(text, name).procedure(data)


class _File:
    """The file as a whole: what its parts say of each other."""

    def __init__(self, text: str, name: str) -> None:
        self.lines = Lines(text, name)
        self.ids: dict[str, int] = {}
        self.steps_seen = 0

    def procedure(self, data: Mapping[str, Any]) -> Procedure:
        top = Table(self.lines, data, "", 0)
        top.only(("name", "title", "sanitizers", "ends", "mixing", "apart", "never", "stage"))
        stages = self._stages(top)
        procedure = Procedure(
            top.text("name"),
            top.text("title"),
            top.choices("sanitizers", SANITIZERS) or SANITIZERS,
            top.flag("ends", True),
            self._mixing(data),
            self._aparts(top),
            self._nevers(top),
            stages,
        )
        self._check_references(procedure)
        return procedure

    def _tables(self, top: Table, key: str) -> list[Any]:
        tables = top.data.get(key, [])
        if not isinstance(tables, list):
            top.fault(key, f"{key} must be a list of tables; write [[{key}]]")
        return tables

    def _mixing(self, data: Mapping[str, Any]) -> dict[str, Limit]:
        table = Table(self.lines, data.get("mixing", {}), "mixing", 0)
        table.only((*KINDS, "new_water"))
        return {kind: table.needed(kind, ("min",)) for kind in table.data}

    def _aparts(self, top: Table) -> tuple[Apart, ...]:
        aparts = []
        for place, record in enumerate(self._tables(top, "apart")):
            table = Table(self.lines, record, "apart", place)
            table.only(("kinds", "rest"))
            kinds = table.choices("kinds", KINDS)
            if len(kinds) != 2:
                table.fault("kinds", 'kinds must name two, such as kinds = ["acid", "salt"]')
            aparts.append(Apart(kinds, table.needed("rest", tuple(TIME_UNITS))))
        return tuple(aparts)

    def _nevers(self, top: Table) -> tuple[Never, ...]:
        nevers = []
        for place, record in enumerate(self._tables(top, "never")):
            table = Table(self.lines, record, "never", place)
            table.only(("kind", "rule", "rest", "source", "text", "only_with"))
            rule = table.choice("rule", RULES)
            if rule == "sensor_waits" and "rest" not in record:
                table.fault("", f"the rule sensor_waits lacks rest; add {example('rest', 'd')}")
            nevers.append(
                Never(
                    table.choice("kind", KINDS),
                    rule,
                    table.limit("rest", tuple(TIME_UNITS)),
                    table.source("source", table.text("source")),
                    table.text("text"),
                    table.choice("only_with", ONLY_WITH, ""),
                )
            )
        return tuple(nevers)

    def _stages(self, top: Table) -> tuple[Stage, ...]:
        records = self._tables(top, "stage")
        if not records:
            top.fault("", "there is no stage; add [[stage]] with its steps")
        stages: dict[str, Stage] = {}
        follows: dict[str, str] = {}
        for place, record in enumerate(records):
            table = Table(self.lines, record, "stage", place)
            table.only(("id", "title", "after", "until", "step"))
            stage = self._stage(table)
            if stage.id in stages:
                table.fault("id", f"the stage id {stage.id!r} is used twice; rename one")
            follows[stage.id] = table.text("after", list(stages)[-1] if stages else "")
            stages[stage.id] = stage
        return tuple(stages[name] for name in self._order(follows))

    def _stage(self, table: Table) -> Stage:
        records = self._tables(table, "step")
        if not records:
            table.fault("", "the stage has no step; add [[stage.step]] below it")
        first = self.steps_seen
        self.steps_seen += len(records)
        steps = [self._step(record, first + place) for place, record in enumerate(records)]
        return Stage(table.text("id"), table.text("title"), tuple(steps), table.text("until", ""))

    def _order(self, follows: dict[str, str]) -> list[str]:
        """Return the stages in order; each must be reached from the first without a loop."""
        places = list(follows)
        for name, before in follows.items():
            table = Table(self.lines, {}, "stage", places.index(name))
            if before and before not in follows:
                table.fault("after", f"the stage {name!r} follows {before!r}, which does not exist")
        order: list[str] = []
        waiting = list(follows)
        while waiting:
            ready = [name for name in waiting if not follows[name] or follows[name] in order]
            if not ready:
                names = " and ".join(repr(name) for name in waiting)
                table = Table(self.lines, {}, "stage", places.index(waiting[0]))
                table.fault(
                    "after",
                    f"the stages {names} follow each other in a loop and are never reached; "
                    "let the first of them follow a stage before",
                )
            order += ready
            waiting = [name for name in waiting if name not in ready]
        return order

    def _step(self, record: Any, place: int) -> Step:
        table = Table(self.lines, record, "stage.step", place)
        kind = table.choice("kind", tuple(_STEP_KEYS))
        table.only(("id", "kind", "text", "only_with", *_STEP_KEYS[kind]))
        name = table.text("id")
        if not re.fullmatch(r"[a-z][a-z_]*", name):
            table.fault("id", f"the id {name!r} may hold only small letters and underscores")
        if name in self.ids:
            table.fault("id", f"the id {name!r} is used twice; rename one")
        self.ids[name] = place
        return _BUILD[kind](
            table, name, table.text("text", ""), table.choice("only_with", ONLY_WITH, "")
        )

    def _check_references(self, procedure: Procedure) -> None:
        """A step may only wait for one that comes before it, else it is never reached."""
        seen: set[str] = set()
        for _, step in procedure.steps():
            table = Table(self.lines, {}, "stage.step", self.ids[step.id])
            since = getattr(step, "since", "")
            if since and since not in self.ids:
                table.fault("since", f"{step.id} waits for {since!r}, which does not exist")
            if since and since not in seen:
                table.fault(
                    "since",
                    f"{step.id} waits for {since!r}, which comes later: "
                    "it would never be reached; move it before",
                )
            seen.add(step.id)
        for place, stage in enumerate(procedure.stages):
            if stage.until and stage.until not in self.ids:
                Table(self.lines, {}, "stage", place).fault(
                    "until", f"the stage lasts until {stage.until!r}, which does not exist"
                )


def _gate(table: Table, name: str, text: str, only_with: str) -> Gate:
    analyte = table.choice("analyte", tuple(ANALYTES))
    unit = (ANALYTES[analyte].unit,)
    low, high = table.limit("low", unit), table.limit("high", unit)
    if low is None and high is None:
        table.fault("", f"the gate {name} has neither low nor high; add {example('low', unit[0])}")
    gate = Gate(
        id=name,
        analyte=analyte,
        sample=table.choice("sample", SAMPLES, "tub"),
        low=low,
        high=high,
        aim_up=table.limit("aim_up", unit),
        aim_down=table.limit("aim_down", unit),
        raise_with=table.choices("raise_with", HELPS),
        lower_with=table.choices("lower_with", HELPS),
        first_share=table.limit("first_share", ("1",)),
        later_share=table.limit("later_share", ("1",)),
        keeps_ph=table.limit("keeps_ph", ("pH",)),
        air=table.limit("air", tuple(TIME_UNITS)),
        remedy=table.text("remedy", ""),
        every=table.limit("every", tuple(TIME_UNITS)),
        text=text,
        only_with=only_with,
    )
    _check_order(table, gate)
    return gate


def _check_order(table: Table, gate: Gate | Hold) -> None:
    low = gate.low.value if gate.low else 0.0
    high = gate.high.value if gate.high else math.inf
    if low >= high:
        table.fault("low", f"low {low:g} is not below high {high:g}; exchange or correct them")
    for key in ("aim_up", "aim_down"):
        aim = getattr(gate, key, None)
        if aim and not low <= aim.value <= high:
            table.fault(key, f"{key} {aim.value:g} lies outside {low:g} to {high:g}")
    if isinstance(gate, Gate):
        for key, needs in (("raise_with", "aim_up"), ("lower_with", "aim_down")):
            helps = set(getattr(gate, key)) & set(KINDS)
            if helps and getattr(gate, needs) is None:
                table.fault(key, f"{key} needs {needs}, or no dose can be computed")


def _confirm(table: Table, name: str, text: str, only_with: str) -> Confirm:
    action = table.choice("action", ACTIONS)
    unit = {"heat": "deg C", "generator_output": "1"}.get(action)
    value = table.limit("value", (unit,)) if unit else None
    if unit and value is None:
        table.fault("", f"the action {action} lacks its value; add {example('value', unit)}")
    if action == "generator_output" and value and value.value > 1.0:
        table.fault("value", f"an output of {value.value:g} is not possible; write 0 to 1")
    after_dose = table.choice("after_dose", ("", *KINDS), "")
    times = table.limit("times", ("1",))
    rest = table.limit("rest", tuple(TIME_UNITS))
    if after_dose and (times is None or rest is None):
        table.fault("after_dose", "after_dose needs times and rest: how often, and how far apart")
    every = table.limit("every", tuple(TIME_UNITS))
    litres_each, solids = table.limit("litres_each", ("L",)), table.limit("solids", ("mg/L",))
    for key, sooner in (("litres_each", litres_each), ("solids", solids)):
        if sooner and (every is None or sooner.value <= 0.0):
            table.fault(key, f"{key} brings the step forward: it needs every, and a value above 0")
    whole = (name, action, value, after_dose, times, rest, every, text, only_with)
    return Confirm(*whole, litres_each, solids)


def _wait(table: Table, name: str, text: str, only_with: str) -> Wait:
    return Wait(name, table.text("since"), table.needed("rest", tuple(TIME_UNITS)), text, only_with)


def _hold(table: Table, name: str, text: str, only_with: str) -> Hold:
    analyte = table.choice("analyte", tuple(ANALYTES))
    unit, time = (ANALYTES[analyte].unit,), tuple(TIME_UNITS)
    hold = Hold(
        name,
        analyte,
        table.needed("low", unit),
        table.needed("high", unit),
        table.needed("aim_up", unit),
        table.needed("rest", time),
        table.needed("judged_after", time),
        table.text("since", ""),
        table.choices("raise_with", KINDS),
        text,
        only_with,
    )
    _check_order(table, hold)
    if hours(hold.judged_after) > hours(hold.rest):
        table.fault("judged_after", "judged_after is longer than rest: no reading could ever count")
    return hold


def _tune(table: Table, name: str, text: str, only_with: str) -> Tune:
    analyte = table.choice("analyte", tuple(ANALYTES))
    unit = (ANALYTES[analyte].unit,)
    return Tune(
        name,
        analyte,
        table.needed("aim", unit),
        table.needed("least", ("1",)),
        table.text("since", ""),
        text,
        only_with,
    )


def _test(table: Table, name: str, text: str, only_with: str) -> Test:
    analytes = table.choices("analytes", tuple(ANALYTES))
    if not analytes:
        table.fault("analytes", 'analytes is empty; name what is tested: analytes = ["ph"]')
    return Test(name, analytes, table.choice("sample", SAMPLES, "tub"), text, only_with)


_BUILD: Mapping[str, Callable[[Table, str, str, str], Step]] = {
    **{"gate": _gate, "confirm": _confirm, "wait": _wait, "hold": _hold, "tune": _tune},
    "test": _test,
}


def hours(limit: Limit) -> float:
    """Return a limit of time in hours."""
    return limit.value * TIME_UNITS[limit.unit]
