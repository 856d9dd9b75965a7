"""From a tub's log to the next step: water, products, procedures, gates.

Heavy parts are imported when first asked for, so that a cold command answers at once.
"""

from dosing.errors import LogError, ProcedureError
from dosing.log import Log, load_log
from dosing.procedure import Procedure, load_builtin, load_procedure

__all__ = [
    "Log",
    "LogError",
    "Procedure",
    "ProcedureError",
    "load_builtin",
    "load_log",
    "load_procedure",
]
