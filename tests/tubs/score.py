"""The table of targets over many tubs, with bootstrap intervals."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from tests.tubs.record import CHANCE, LETTER, RULE, SOFT, Record
from tests.tubs.trade import AIM, MOVES

MOST_STEPS, MOST_DAYS = 120, 21.0
ROUNDS = 400
Statistic = Callable[[Sequence[Record]], float]


def finished(record: Record) -> bool:
    if record.log.get("procedure") == "upkeep":
        return record.completed
    return record.completed and record.steps <= MOST_STEPS and record.days <= MOST_DAYS


def share(test: Callable[[Record], bool]) -> Statistic:
    return lambda records: float(np.mean([test(record) for record in records]))


def median(value: Callable[[Record], float]) -> Statistic:
    def over(records: Sequence[Record]) -> float:
        values = [value(record) for record in records if record.completed]
        return float(np.median(values)) if values else float("nan")

    return over


def product_use(records: Sequence[Record]) -> float:
    ratios = [ratio for record in records for ratio in uses(record).values()]
    return float(np.median(ratios)) if ratios else float("nan")


def uses(record: Record) -> dict[str, float]:
    """Product given over the exact need, to the aim, where the need was plain from the fill."""
    start = {
        "salt": record.facts.fill["salt"],
        "calcium_hardness": record.facts.fill["hardness"],
        "total_alkalinity": record.facts.fill["alkalinity"],
        "phosphate": record.facts.fill["phosphate"],
    }
    found = {}
    for product in record.facts.products:
        grams, kind = record.use.get(product["id"], 0.0), product["kind"]
        analyte = MOVES.get(kind)
        if analyte not in start or not grams or not record.completed:
            continue
        per_g = 1000.0 / record.facts.volume_l * moves_per_mg(product)
        need = AIM[analyte] - start[analyte]
        if need * per_g > 0:
            found[kind] = grams * per_g / need
    return found


def moves_per_mg(product: Mapping[str, Any]) -> float:
    """Change of the analyte for 1 mg/L of product; the hand lines of the trade's handbooks."""
    kind = product["kind"]
    if kind == "salt":
        return float(product["purity"])
    if kind == "calcium":
        return {"CaCl2": 0.9018, "CaCl2.2H2O": 0.6808}[product["formula"]] * product["purity"]
    if kind == "bicarbonate":
        return 0.5957 * float(product["purity"])
    if kind == "softening_medium":
        return -product["removes_mg_caco3_per_g"] / 1000.0
    return -product["removes_ug_per_g"] / 1000.0


def expect_rows(records: Iterable[Record]) -> dict[str, dict[str, Any]]:
    by_analyte: dict[str, list[Any]] = defaultdict(list)
    for record in records:
        for forecast in record.forecasts:
            by_analyte[forecast.analyte].append(forecast)
    return {
        analyte: {
            "cases": len(all_),
            "holds_truth": float(np.mean([f.held for f in all_])),
            "holds_reading": float(
                np.mean([f.held_shown for f in all_ if f.shown is not None] or [1])
            ),
            "truth_below": float(np.mean([f.truth < f.low for f in all_])),
            "truth_above": float(np.mean([f.truth > f.high for f in all_])),
            "width": float(np.median([f.high - f.low for f in all_])),
            "by_step": {
                step: [
                    len(some := [f.held for f in all_ if f.step == step]),
                    round(float(np.mean(some)), 3),
                ]
                for step in sorted({f.step for f in all_})
            },
        }
        for analyte, all_ in sorted(by_analyte.items())
    }


def gate_rows(records: Iterable[Record]) -> dict[str, dict[str, float]]:
    """How often the truth is inside where a gate claims a probability."""
    seen: dict[str, list[Any]] = defaultdict(list)
    for record in records:
        for gate in record.gates:
            state = "open" if gate.probability >= 0.95 else "undecided"
            seen[f"{gate.analyte} {'shut' if gate.probability <= 0.05 else state}"].append(gate)
    return {
        name: {
            "cases": len(all_),
            "claimed": float(np.mean([g.probability for g in all_])),
            "inside": float(np.mean([g.inside for g in all_])),
        }
        for name, all_ in sorted(seen.items())
    }


STATISTICS: Mapping[str, Statistic] = {
    "completed": share(finished),
    "tubs_with_rule_faults": share(lambda r: bool(r.of_kind(RULE))),
    "tubs_with_chance_faults": share(lambda r: bool(r.of_kind(CHANCE))),
    "tubs_with_letter_faults": share(lambda r: bool(r.of_kind(LETTER))),
    "median_measurements": median(lambda r: r.measures),
    "median_days": median(lambda r: r.days),
    "median_steps": median(lambda r: r.steps),
    "product_over_need": product_use,
}
TARGETS = {
    "completed": (">=", 0.99),
    "tubs_with_rule_faults": ("<=", 0.0),
    "tubs_with_chance_faults": ("<=", 0.003),
    "tubs_with_letter_faults": ("<=", 0.0),
    "median_measurements": ("<=", 22.0),
    "median_days": ("<=", 4.5),
    "product_over_need": ("<=", 1.15),
}


def bootstrap(records: Sequence[Record], statistic: Statistic, seed: int = 1) -> list[float]:
    """95 % interval over tubs drawn again with replacement."""
    rng = np.random.default_rng(seed)
    values = []
    for _ in range(ROUNDS):
        picked = rng.integers(0, len(records), len(records))
        values.append(statistic([records[i] for i in picked]))
    finite = [value for value in values if np.isfinite(value)]
    if not finite:
        return [float("nan"), float("nan")]
    return [float(np.quantile(finite, q)) for q in (0.025, 0.975)]


def upper_of_none(count: int) -> float:
    """The 95 % upper limit of a share of which none was seen (the rule of three, exact)."""
    return float(1 - 0.05 ** (1 / max(count, 1)))


def score(records: Sequence[Record]) -> dict[str, Any]:
    """Everything the bench reports, as plain JSON."""
    seconds = [s for record in records for s in record.engine_s]
    codes = {
        kind: dict(Counter(f"{f.code}" for r in records for f in r.of_kind(kind)).most_common())
        for kind in (RULE, CHANCE, LETTER, SOFT)
    }
    return {
        "tubs": len(records),
        "targets": {
            name: {
                "value": statistic(records),
                "interval_95": bootstrap(records, statistic),
                **({"target": "{} {:g}".format(*TARGETS[name])} if name in TARGETS else {}),
            }
            for name, statistic in STATISTICS.items()
        },
        "none_seen_means_at_most": upper_of_none(len(records)),
        "ended": dict(Counter(record.ended for record in records)),
        "asked": dict(Counter(text for record in records for text in record.asked)),
        "faults": codes,
        "expect": expect_rows(records),
        "gates": gate_rows(records),
        "use_by_kind": use_rows(records),
        "families": family_rows(records),
        "milliseconds": {
            "median": 1000 * float(np.median(seconds)) if seconds else None,
            "p95": 1000 * float(np.quantile(seconds, 0.95)) if seconds else None,
        },
    }


def use_rows(records: Sequence[Record]) -> dict[str, list[float]]:
    by_kind: dict[str, list[float]] = defaultdict(list)
    for record in records:
        for kind, ratio in uses(record).items():
            by_kind[kind].append(ratio)
    return {
        kind: [len(r), *(round(float(np.quantile(r, q)), 3) for q in (0.1, 0.5, 0.9))]
        for kind, r in sorted(by_kind.items())
    }


def family_rows(records: Sequence[Record]) -> dict[str, dict[str, float]]:
    families = sorted({record.facts.family for record in records})
    return {
        family: {
            "tubs": len(some := [r for r in records if r.facts.family == family]),
            "completed": share(finished)(some),
            "measurements": median(lambda r: r.measures)(some),
            "days": median(lambda r: r.days)(some),
            "rule": sum(len(r.of_kind(RULE)) for r in some),
            "chance": sum(len(r.of_kind(CHANCE)) for r in some),
        }
        for family in families
    }


def table(result: Mapping[str, Any]) -> str:
    """The score for people."""
    lines = [f"{result['tubs']} tubs, ended: {result['ended']}"]
    for name, row in result["targets"].items():
        low, high = row["interval_95"]
        target = f"  target {row['target']}" if "target" in row else ""
        lines.append(f"  {name:<26} {row['value']:8.3f}  [{low:.3f}, {high:.3f}]{target}")
    lines.append(
        f"  none seen in {result['tubs']}: at most {result['none_seen_means_at_most']:.4f}"
    )
    for kind, codes in result["faults"].items():
        lines.append(f"{kind} faults: {codes}")
    lines.append("expect (target 0.93 to 0.98)       cases  truth reading below above  width")
    for analyte, row in result["expect"].items():
        lines.append(
            f"  {analyte:<30} {row['cases']:6d} {row['holds_truth']:6.3f} "
            f"{row['holds_reading']:6.3f} {row['truth_below']:6.3f}{row['truth_above']:6.3f} "
            f"{row['width']:8.3g}  {row['by_step']}"
        )
    lines.append("gates                              cases claimed inside")
    for name, row in result["gates"].items():
        lines.append(f"  {name:<30} {row['cases']:6d} {row['claimed']:7.3f} {row['inside']:6.3f}")
    lines.append(f"product over need (tubs, 10 %, median, 90 %): {result['use_by_kind']}")
    for family, row in result["families"].items():
        lines.append(f"  {family:<12} " + "  ".join(f"{k} {v:.3g}" for k, v in row.items()))
    lines.append(f"asked: {result['asked']}")
    lines.append(f"engine milliseconds: {result['milliseconds']}")
    return "\n".join(lines)
