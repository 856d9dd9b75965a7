"""Default bands by source: narrow enough that each gate can open at its aim."""

from datetime import UTC, datetime

import pytest

from dosing.analytes import ANALYTES, SOURCES_OF_READINGS
from dosing.bands import band_of
from dosing.gates import limits
from dosing.log import Reading
from dosing.procedure import BUILT_IN, Gate, load_builtin

NOW = datetime(2025, 6, 1, tzinfo=UTC)


def aims():
    for name in BUILT_IN:
        for _, gate in load_builtin(name).gates():
            if isinstance(gate, Gate) and gate.sample == "tub":
                for aim in {
                    gate.aim_up and gate.aim_up.value,
                    gate.aim_down and gate.aim_down.value,
                }:
                    if aim is not None:
                        yield pytest.param(gate, aim, id=f"{name} {gate.id} {aim:g}")


@pytest.mark.parametrize("source", SOURCES_OF_READINGS)
@pytest.mark.parametrize(("gate", "aim"), list(aims()))
def test_three_readings_at_the_aim_open_the_gate_whatever_read_them(gate, aim, source):
    half = ANALYTES[gate.analyte].spread(source).half_band(aim)
    band = band_of(
        Reading(NOW, gate.analyte, aim, max(aim - half / 3**0.5, 0), aim + half / 3**0.5, source)
    )
    assert band.share_inside(*limits(gate)) >= 0.95


@pytest.mark.parametrize("analyte", ANALYTES.values(), ids=ANALYTES)
def test_an_eye_is_never_surer_than_a_photo(analyte):
    for value in (0.0, 1.0, 5.0, 50.0, 500.0):
        assert analyte.spread("hand").half_band(value) >= analyte.photo.half_band(value)
