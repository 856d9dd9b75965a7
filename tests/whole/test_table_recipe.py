"""`dipstep table recipe` from the command line: never without its cautions."""

import json

import pytest

from api.cli import main


@pytest.mark.parametrize("more", [[], ["--json"]])
@pytest.mark.parametrize("analyte", ["calcium_hardness", "free_chlorine", "ph"])
def test_a_recipe_never_comes_without_cautions(capsys, analyte, more):
    assert main(["table", "recipe", analyte, *more]) == 0

    out = capsys.readouterr().out
    assert "Never mix chemicals" in out
    assert "never water to the chemical" in out


def test_values_volume_and_substance_may_be_chosen(capsys):
    args = ["free_chlorine", "--values", "1,4", "--volume-ml", "1000"]
    assert main(["table", "recipe", *args, "--from", "NaOCl", "--purity", "0.05", "--json"]) == 0

    answer = json.loads(capsys.readouterr().out)
    assert [round(s["value"], 1) for s in answer["standards"]] == [1.0, 4.0]


def test_what_cannot_be_mixed_gets_its_sentence(capsys):
    assert main(["table", "recipe", "gold"]) == 1
    assert capsys.readouterr().err.startswith("dipstep: no recipe for 'gold'; there are:")
    with pytest.raises(SystemExit, match="2"):
        main(["table", "recipe", "ph", "--values", "high"])
