"""Procedures are data: every limit with unit and source, every fault heard by its line."""

from importlib.resources import files

import pytest

from dosing.procedure import (
    BUILT_IN,
    Gate,
    Hold,
    Limit,
    ProcedureError,
    load_builtin,
    load_procedure,
)

TEXT = (files("dosing") / "data" / "procedures" / "salt_startup.toml").read_text(encoding="utf-8")


def refusal(old, new, text=TEXT):
    assert old in text
    with pytest.raises(ProcedureError) as refused:
        load_procedure(text.replace(old, new, 1), "shop.toml")
    return str(refused.value)


def line_of(words, text=TEXT):
    return 1 + text[: text.index(words)].count("\n")


def test_the_salt_start_up_keeps_the_order_of_the_trade():
    order = [step.id for _, step in load_builtin("salt_startup").steps()]
    assert order == [
        *("fill_test", "fill_iron", "fill_copper", "fill_manganese", "cell_in", "fill", "power_on"),
        *("generator_zero", "heat", "calcium_hardness", "total_alkalinity", "ph", "phosphate"),
        *("clean_filter", "salt", "circulate", "first_chlorine", "generator_full"),
        *("residual_holds", "sensor_in", "sensor_counts", "generator_tuned"),
    ]


def test_the_salt_start_up_has_the_limits_of_the_trade():
    """Common practice, no published source, but for the pH (New York 10 NYCRR 6-1.25)."""
    gates = {step.id: step for _, step in load_builtin("salt_startup").gates()}
    limits = {
        name: (gate.low and gate.low.value, gate.high and gate.high.value)
        for name, gate in gates.items()
    }
    assert limits == {
        "fill_iron": (None, 200.0),
        "fill_copper": (None, 200.0),
        "fill_manganese": (None, 50.0),
        "calcium_hardness": (25.0, 75.0),
        "total_alkalinity": (60.0, 150.0),
        "ph": (7.2, 7.8),
        "phosphate": (None, 300.0),
        "salt": (1500.0, 2000.0),
        "first_chlorine": (4.0, 10.0),
        "residual_holds": (3.0, 10.0),
    }
    assert gates["salt"].aim_up == Limit(1750.0, "mg/L", "common_practice")
    assert gates["salt"].first_share == Limit(0.5, "1", "common_practice")


@pytest.mark.parametrize("name", BUILT_IN)
def test_every_built_in_procedure_loads_and_every_gate_has_a_limit(name):
    for _, gate in load_builtin(name).gates():
        assert isinstance(gate, Gate | Hold)
        assert gate.low or gate.high


def test_an_unknown_procedure_is_refused_with_the_known_ones():
    with pytest.raises(ProcedureError, match="no built-in procedure 'salt'; built in are salt_"):
        load_builtin("salt")


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('analyte = "salt"', 'analyte = "sallt"', "analyte 'sallt' is unknown; did you mean 'salt"),
        ("aim_up = { value = 50", "aim_upp = { value = 50", "the key aim_upp is unknown; did you "),
        ("low = { value = 25,", "low = { value = 95,", "low 95 is not below high 75"),
        ("low = { value = 25,", "low = 25 #", "low must carry value, unit and source; write low ="),
        (
            "low = { value = 25,",
            'low = { value = "a",',
            "the value of low must be a number",
        ),
        ("low = { value = 25,", "low = { value = -5,", "the value of low must be a number"),
        ("low = { value = 25,", "low = { worth = 25,", "low lacks its value; write low = {"),
        ("low = { value = 25,", "low = { value = true,", "the value of low must be a number"),
        ('25, unit = "mg/L"', '25, unit = "ppm"', "low is given in 'ppm'; it must be in mg/L"),
        ('unit = "mg/L", source = "common_practice"', 'unit = "mg/L"', "low lacks its source"),
        ("aim_up = { value = 50", "aim_up = { value = 500", "aim_up 500 lies outside 25 to 75"),
        ('raise_with = ["calcium"]', 'raise_with = ["chalk"]', "'chalk' in raise_with is unknown"),
        ('"service_industry_2022"', '"service_industri"', "is not in the bibliography; did you me"),
        ('since = "sensor_in"', 'since = "sensor"', "waits for 'sensor', which does not exist"),
        (
            'since = "sensor_in"',
            'since = "generator_tuned"',
            "which comes later: it would never",
        ),
        ('id = "heat"', 'id = "power_on"', "the id 'power_on' is used twice"),
        ('id = "heat"', 'id = "Heat 1"', "may hold only small letters and underscores"),
        ('action = "heat"', 'action = "warm"', "action 'warm' is unknown"),
        ('until = "fill"', 'until = "filled"', "lasts until 'filled', which does not exist"),
        ("judged_after = { value = 23.5", "judged_after = { value = 30", "no reading could ever"),
        ('kind = "tune"', 'kind = "tuned"', "kind 'tuned' is unknown; did you mean 'tune'?"),
        ("[mixing]\nacid", "[mixing]\nacit", "the key acit is unknown; did you mean acid?"),
        ('rule = "sensor_waits"\nrest', 'rule = "sensor_waits"\nsleep', "the key sleep is unknown"),
        ('sanitizers = ["salt_chlorine"]', 'sanitizers = ["salt"]', "'salt' in sanitizers is unkn"),
    ],
)
def test_a_fault_is_named_with_its_line(old, new, sentence):
    message = refusal(old, new)
    assert sentence in message
    assert message.startswith("shop.toml, line ")


def test_the_line_is_the_right_one():
    message = refusal("low = { value = 25,", "low = { value = 95,")
    assert message.startswith(f"shop.toml, line {line_of('low = { value = 25,')}: ")


def test_a_loop_of_stages_is_refused():
    text = TEXT.replace('id = "salt"\ntitle', 'id = "salt"\nafter = "sensor"\ntitle')
    message = refusal('title = "Salt"', 'title = "Salt!"', text)
    assert "follow each other in a loop and are never reached" in message


def test_a_stage_that_follows_nothing_known_is_refused():
    message = refusal('id = "salt"\ntitle', 'id = "salt"\nafter = "sugar"\ntitle')
    assert "the stage 'salt' follows 'sugar', which does not exist" in message


def test_what_is_no_toml_is_refused_with_its_line():
    message = refusal("[[never]]", "[[never]")
    assert message.startswith("shop.toml: this is not TOML: ")
    assert f"line {line_of('[[never]]')}" in message


@pytest.mark.parametrize("text", ["", "name = 5", "stage = 5", "[[stage]]\nid='a'\ntitle='b'\n"])
def test_half_a_procedure_is_refused(text):
    with pytest.raises(ProcedureError, match=r"^half.toml, line \d+: "):
        load_procedure(text, "half.toml")
