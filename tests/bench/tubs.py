"""Closed-loop tubs: how the engine does on the targets of the next step.

    python -m tests.bench tubs [--tubs N] [--seed S] [--json]
    python -m tests.bench tubs --check          small fixed set against the kept baseline
    python -m tests.bench tubs --show SEED      one tub's walk, step by step

Figures are judged on seeds that were not looked at while building.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

from tests.bench import tub_beliefs
from tests.tubs import standin
from tests.tubs.draw import draw, odd_habits, wild_habits
from tests.tubs.equilibrium import Equilibrium
from tests.tubs.harsh import harsh_technician
from tests.tubs.long_logs import long_log
from tests.tubs.meddle import FOREIGN, SCENARIOS
from tests.tubs.record import Record
from tests.tubs.score import score, table
from tests.tubs.technician import Technician

BASELINE = Path(__file__).parent / "tubs_baseline.json"
CHECK_SEED, CHECK_TUBS = 90_000, 16
MARGIN = {"completed": -0.05, "median_measurements": 3.0, "median_days": 0.7}


def engine(text: str, at: datetime) -> Mapping[str, Any]:
    """The engine as the command calls it: a log's text in, the answer's JSON out."""
    from dosing.answer import as_dict
    from dosing.log import load_log
    from dosing.next_step import next_step
    from dosing.procedure import load_builtin
    from dosing.products import generic_products, load_products

    log = load_log(text, "log.json", at)
    products = load_products(log.products) if log.products else generic_products()
    return as_dict(next_step(log, load_builtin(log.procedure), products, at))


def command(text: str, at: datetime) -> Mapping[str, Any]:
    """The same through the real command line."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.json"
        path.write_text(text)
        words = ["-m", "api.cli", "next", str(path), "--at", at.isoformat(), "--json"]
        done = subprocess.run([sys.executable, *words], capture_output=True, text=True, check=False)
    if done.returncode:
        raise ValueError(done.stderr.strip())
    answer: Mapping[str, Any] = json.loads(done.stdout)
    return answer


ASKED: Mapping[str, Callable[[str, datetime], Mapping[str, Any]]] = {
    "engine": engine,
    "command": command,
    "standin": standin.next_step,
}


HABITS = {"odd": odd_habits, "wild": wild_habits}


def walk(
    seed: int,
    who: str,
    procedure: str,
    odd: str | None,
    family: str | None,
    meddle: str | None,
    stop: int | None = None,
    world: str = "plain",
    then_upkeep: float = 0.0,
) -> Record:
    """One tub from start to end, and on into the days of its upkeep."""
    days, steps = (62.0, 600) if procedure == "upkeep" else (30.0, 150)
    habits, more = HABITS[odd] if odd else None, FOREIGN if meddle else ()
    if world == "harsh":
        technician = harsh_technician(seed, ASKED[who], procedure, habits, more)
    else:
        facts = draw(seed, family, habits, procedure)
        facts = replace(facts, products=(*facts.products, *more))
        technician = Technician(facts, Equilibrium(), ASKED[who])
    technician.meddle = SCENARIOS[meddle]() if meddle else None
    record = technician.walk(stop or steps, days)
    return technician.keep_up(600, then_upkeep) if then_upkeep else record


def run(seeds: Sequence[int], jobs: int, **how: Any) -> list[Record]:
    one = partial(walk, **how)
    if jobs <= 1:
        return [one(seed) for seed in seeds]
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(one, seeds))


def fallen(result: Mapping[str, Any], kept: Mapping[str, Any]) -> list[str]:
    """What is worse than the baseline beyond the margin; faults have no margin."""
    found = []
    for name, margin in MARGIN.items():
        now, before = result["targets"][name]["value"], kept["targets"][name]["value"]
        if (now - before) * (1 if margin > 0 else -1) > abs(margin):
            found.append(f"{name} {now:.3f}, was {before:.3f}")
    for kind in ("rule", "chance", "letter"):
        now, before = (sum(r["faults"][kind].values()) for r in (result, kept))
        if now > before:
            found.append(f"{kind} faults {now}, were {before}")
    return found


def speed(who: str) -> dict[str, dict[str, float]]:
    """Seconds for logs of a usual and of a great length: best and worst of the rounds.

    The processor's own seconds stand beside: on a busy machine they alone can be compared.
    """
    found = {}
    for count, rounds in ((100, 9), (1_000, 3), (10_000, 1)):
        for procedure in ("salt_startup", "upkeep"):
            text, at = long_log(count, procedure)
            times, own = [], []
            for _ in range(rounds):
                begun, used = time.perf_counter(), time.process_time()
                ASKED[who](text, at)
                times.append(time.perf_counter() - begun)
                own.append(time.process_time() - used)
            found[f"{procedure} {count}"] = {
                "best_s": min(times),
                "worst_s": max(times),
                "best_processor_s": min(own),
            }
    return found


def options() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m tests.bench tubs", description=__doc__)
    parser.add_argument("--tubs", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1000, help="the first tub's seed")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--who", choices=sorted(ASKED), default="engine")
    parser.add_argument("--procedure", default="salt_startup")
    parser.add_argument("--family")
    parser.add_argument("--meddle", choices=sorted(SCENARIOS), help="behind the technician's back")
    parser.add_argument("--world", choices=("plain", "harsh"), default="plain")
    parser.add_argument(
        "--then-upkeep", type=float, default=0.0, metavar="DAYS", help="the same log, kept up"
    )
    parser.add_argument(
        "--odd",
        nargs="?",
        const="odd",
        choices=sorted(HABITS),
        help="interrupted, late, stray doses; `wild` forgets, exchanges times, asks in every wait",
    )
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--show", type=int, metavar="SEED", help="print one tub's walk")
    parser.add_argument("--stop", type=int, help="with --show: after so many steps")
    parser.add_argument("--log", type=Path, help="with --show: write the tub's log there")
    parser.add_argument("--speed", action="store_true", help="time logs of 100 to 10,000 events")
    parser.add_argument("--check", action="store_true", help="fixed set against the baseline")
    parser.add_argument("--keep", action="store_true", help="write the baseline anew")
    parser.add_argument("--learned", action="store_true", help="volume, strengths, rates: coverage")
    parser.add_argument("--faults", action="store_true", help="list every fault by seed")
    return parser


def one_event_a_line(log: Mapping[str, Any]) -> str:
    """The log's JSON as a person likes to read it."""
    parts = []
    for key, value in log.items():
        if isinstance(value, list):
            rows = ",\n".join(f"  {json.dumps(row)}" for row in value)
            parts.append(f' "{key}": [\n{rows}\n ]')
        else:
            parts.append(f' "{key}": {json.dumps(value)}')
    return "{\n" + ",\n".join(parts) + "\n}\n"


def show(record: Record, log: Path | None) -> int:
    print("\n".join(record.trace))
    print(f"{record.ended}: {record.steps} steps, {record.measures} measurements, "
          f"{record.days:.1f} days")  # fmt: skip
    if log is not None:
        log.write_text(one_event_a_line(record.log))
    return 0


def list_faults(records: Sequence[Record]) -> None:
    for record in records:
        who = f"seed {record.facts.seed} {record.facts.family}"
        if not record.completed:
            print(f"{who}: ended {record.ended!r} {record.asked} {record.trace[-1:]}")
        for fault in record.faults:
            print(f"{who}: {fault.kind} {fault.code} {fault.at} {fault.detail}")


def check(result: Mapping[str, Any]) -> int:
    found = fallen(result, json.loads(BASELINE.read_text()))
    for sentence in found:
        print(f"worse than kept: {sentence}", file=sys.stderr)
    return 1 if found else 0


def main(argv: Sequence[str] | None = None) -> int:
    args = options().parse_args(argv)
    how = {
        "who": args.who,
        "procedure": args.procedure,
        "odd": args.odd,
        "family": args.family,
        "meddle": args.meddle,
        "world": args.world,
        "then_upkeep": args.then_upkeep,
    }
    if args.show is not None:
        return show(walk(args.show, **how, stop=args.stop), args.log)
    if args.speed:
        print(json.dumps(speed(args.who), indent=1))
        return 0
    fixed = args.check or args.keep
    seed, tubs = (CHECK_SEED, CHECK_TUBS) if fixed else (args.seed, args.tubs)
    records = run(range(seed, seed + tubs), args.jobs, **how)
    result = score(records)
    print(json.dumps(result, indent=1) if args.json else table(result))
    if args.learned:
        print(tub_beliefs.table(records))
    if args.faults:
        list_faults(records)
    if args.keep:
        BASELINE.write_text(json.dumps(result, indent=1) + "\n")
    return check(result) if args.check else 0


if __name__ == "__main__":
    raise SystemExit(main())
