"""Whatever is given as a log: an answer or our own sentence, nothing else."""

import json
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings, strategies as st

from dosing.answer import as_dict
from dosing.log import LogError, load_log
from dosing.next_step import next_step
from dosing.procedure import BUILT_IN, load_builtin
from dosing.products import generic_products

AT = datetime(2025, 6, 2, tzinfo=UTC)
ANY = st.recursive(
    st.none() | st.booleans() | st.floats(allow_nan=False) | st.integers() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=8,
)
UNITS = {"ph": "pH", "phosphate": "ug/L", "iron": "ug/L"}
NAMES = ["ph", "total_alkalinity", "calcium_hardness", "salt", "free_chlorine", "phosphate", "iron"]
MOMENT = st.datetimes(datetime(2025, 5, 30), datetime(2025, 6, 1, 23)).map(
    lambda when: when.isoformat() + "+00:00"
)
READING = st.builds(
    lambda at, name, value, wide, sample: {
        **{"at": at, "type": "reading", "analyte": name, "source": "photo", "sample": sample},
        **{"unit": UNITS.get(name, "mg/L"), "value": value * (14 if name == "ph" else 400)},
        **({"high": None} if wide else {}),
    },
    *(MOMENT, st.sampled_from(NAMES), st.floats(0, 1), st.booleans()),
    st.sampled_from(["tub", "fill"]),
)
DOSE = st.builds(
    lambda at, product, grams: {"at": at, "type": "dose", "product": product, "amount_g": grams},
    *(MOMENT, st.sampled_from(list(generic_products())), st.floats(0, 5000)),
)
WATER = st.builds(
    lambda at, share: {"at": at, "type": "replaced_water", "fraction": share},
    *(MOMENT, st.floats(0, 1)),
)
STEPS = [step.id for name in BUILT_IN for _, step in load_builtin(name).steps()]
DONE = st.builds(
    lambda at, step: {"at": at, "type": "done", "step": step},
    *(MOMENT, st.sampled_from([*STEPS, "generator_tuned_at_40", "clean_filter-2", "ask_ph"])),
)


def tub(sanitizer):
    about = {"name": "Fuzz", "volume_l": 1000, "temperature_c": 30.0}
    return about | {"sanitizer": sanitizer, "has_sensor": True}


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=60) | ANY.map(json.dumps))
def test_any_text_is_refused_in_one_sentence(text):
    with pytest.raises(LogError, match=r"^fuzz.json: [^\n]+$"):
        load_log(text, "fuzz.json", AT)


@settings(max_examples=100, deadline=None)
@given(st.lists(READING | DOSE | WATER | DONE, max_size=12), st.sampled_from(BUILT_IN))
def test_any_history_gets_an_answer(events, name):
    procedure = load_builtin(name)
    whole = {"tub": tub(procedure.sanitizers[0]), "procedure": name, "events": events}
    log = load_log(json.dumps(whole), "fuzz.json", AT)
    answer = as_dict(next_step(log, procedure, generic_products(), AT))

    json.dumps(answer, allow_nan=False)
    assert answer["step"]["text"]
    assert (answer["step"]["kind"] == "none") == answer["complete"]
    if answer["step"]["kind"] == "dose":
        assert answer["step"]["amount_g"] > 0
        assert answer["cautions"]
    if answer["step"]["kind"] == "wait":
        assert datetime.fromisoformat(answer["step"]["not_before"]) > AT
    for gate in answer["gates"]:
        assert (gate["probability"] is None) == (gate["state"] == "waiting")
