"""One PHREEQC for all tests of the simulated tub."""

import pytest

from tests.tubs.equilibrium import Equilibrium


@pytest.fixture(scope="session")
def chemistry():
    return Equilibrium()
