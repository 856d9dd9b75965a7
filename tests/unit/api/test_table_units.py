"""Units of a strip file that no log takes are refused before a table is made."""

import pytest

from api.table_units import check_units, unit_faults
from calibration.table import PadPlan


def plan(analyte, unit):
    return PadPlan("Brook", "B1", 1, analyte, unit, 15.0, 6.0, 5.0, 2)


def test_the_units_of_a_log_pass():
    assert unit_faults([plan("ph", "pH"), plan("ph", "pH")]) == []
    check_units([plan("phosphate", "ug/L")], "strip.csv")


def test_another_unit_is_refused_with_line_and_cure():
    with pytest.raises(
        ValueError, match=r"strip.csv, line 2: pad 1 is salt in 'ppm'; .* write mg/L"
    ):
        check_units([plan("salt", "ppm")], "strip.csv")


def test_an_analyte_no_log_knows_is_told_but_allowed():
    (fault,) = unit_faults([plan("copper2", "mg/L")])
    assert not fault.fatal
    check_units([plan("copper2", "mg/L")], "strip.csv")
