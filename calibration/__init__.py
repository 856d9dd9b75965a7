"""From a pad's colour to a concentration with a band, by the shop's own calibration table."""

from calibration.curve import Curve, fit_curve
from calibration.estimate import Estimate, estimate
from calibration.reasons import REASONS
from calibration.rows import TableError
from calibration.table import PadChart, Table, load_table

__all__ = [
    "REASONS",
    "Curve",
    "Estimate",
    "PadChart",
    "Table",
    "TableError",
    "estimate",
    "fit_curve",
    "load_table",
]
