"""Every sentence of the case files holds: the step, the gates, what to expect, the cautions."""

import json
import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from dosing.analytes import ANALYTES
from dosing.answer import as_dict
from dosing.log import load_log
from dosing.next_step import next_step
from dosing.procedure import load_builtin
from dosing.products import generic_products, load_products

START = datetime(2025, 6, 1, 8, tzinfo=UTC)
FILLED = [(0.5, "cell_in"), (1, "fill"), (1.2, "power_on"), (1.3, "generator_zero"), (4, "heat")]
HOSE = [(0, "iron", 20, 20), (0, "copper", 20, 20), (0, "manganese", 10, 10)]
HOSE += [(0, "calcium_hardness", 60, 10), (0, "phosphate", 80, 40)]
BALANCED = [(5, "calcium_hardness", 50, 10), (5, "total_alkalinity", 90, 15), (5, "ph", 7.4, 0.2)]
BALANCED += [(5, "phosphate", 60, 30), (6.9, "salt", 1750, 100)]


def cases():
    for path in sorted(Path(__file__).parent.glob("*.toml")):
        for case in tomllib.loads(path.read_text(encoding="utf-8"))["case"]:
            yield pytest.param(case, id=case["tells"])


def moment(hour):
    return (START + timedelta(hours=hour)).isoformat()


def reading(hour, analyte, value, half, sample="tub"):
    band = {"low": max(0.0, value - half), "high": value + half, "unit": ANALYTES[analyte].unit}
    event = {"at": moment(hour), "type": "reading", "analyte": analyte, "value": value}
    return event | band | {"source": "photo", "sample": sample}


def log_of(case):
    salted = case.get("salted", False)
    filled = salted or case.get("filled", False)
    done = [*(FILLED if filled else []), *case.get("done", [])]
    hose = [*(HOSE if filled else []), *case.get("fill", [])]
    read = [*(BALANCED if salted else []), *case.get("read", [])]
    doses = [*([(6, "salt", 2100)] if salted else []), *case.get("doses", [])]
    events = [reading(*one, sample="fill") for one in hose] + [reading(*one) for one in read]
    events += [{"at": moment(hour), "type": "done", "step": step} for hour, step in done]
    events += [
        {"at": moment(hour), "type": "dose", "product": product, "amount_g": grams}
        for hour, product, grams in doses
    ]
    tub = {"name": "Case", "volume_l": 1250, "temperature_c": 38.0}
    tub |= {"sanitizer": "salt_chlorine", "has_sensor": True}
    products = case.get("products", [])
    return {"tub": tub, "procedure": "salt_startup", "products": products, "events": events}


def answer_to(case):
    at = START + timedelta(hours=case["at"])
    log = load_log(json.dumps(log_of(case)), "case", at)
    products = load_products(log.products) if log.products else generic_products()
    return as_dict(next_step(log, load_builtin(log.procedure), products, at))


@pytest.mark.parametrize("case", list(cases()))
def test_the_case_holds(case):
    answer = answer_to(case)
    wanted, step = dict(case["step"]), answer["step"]
    least, most = wanted.pop("least_g", 0), wanted.pop("most_g", 1e9)
    not_before = wanted.pop("not_before_h", None)

    assert {key: step[key] for key in wanted} == wanted, step
    if step["kind"] == "dose":
        assert least <= step["amount_g"] <= most
        assert any("acid and chlorine" in caution for caution in answer["cautions"])
        assert any("local code" in caution for caution in answer["cautions"])
    if not_before is not None:
        assert step["not_before"] == moment(not_before)
    states = {gate["id"]: gate["state"] for gate in answer["gates"]}
    for gate, state in case.get("gates", {}).items():
        assert states[gate] == state
    for analyte, (low, high) in case.get("expect", {}).items():
        band = answer["expect"][analyte]
        assert low <= band["low"] <= band["value"] <= band["high"] <= high
    for caution in case.get("cautions", []):
        assert any(caution in one for one in answer["cautions"])
    assert answer["complete"] == (step["kind"] == "none")
    assert answer["why"]


@pytest.mark.parametrize("case", list(cases()))
def test_the_same_question_gets_the_same_answer_whatever_the_order_in_the_file(case):
    turned = log_of(case)
    turned["events"].reverse()
    at = START + timedelta(hours=case["at"])
    log = load_log(json.dumps(turned), "case", at)
    products = load_products(log.products) if log.products else generic_products()
    again = as_dict(next_step(log, load_builtin(log.procedure), products, at))
    assert again == answer_to(case)
