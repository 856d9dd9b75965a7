"""Whatever is sent to any call of the service: an answer or a problem, never a server error."""

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import content_type_conformance, status_code_conformance

from api import people
from api.app import create_app
from api.settings import Settings
from tests.whole.canned import CannedPool
from tests.whole.shop import NOON

CHECKS = (not_a_server_error, content_type_conformance, status_code_conformance)
EXAMPLES = 10
"""Of each call; raise it for a longer search."""


@pytest.fixture(scope="module")
def schema(tmp_path_factory):
    """Return the description of a service with something in it; its readers are canned."""
    home = tmp_path_factory.mktemp("shop")
    app = create_app(Settings(home, f"sqlite:///{home / 'dipstep.db'}"), lambda: NOON)
    app.state.pool = CannedPool()
    with app.state.store.writing() as session:
        people.add_member(session, "Kay", "keeper", "nine brown otters", NOON)
        _, key = people.new_token(session, "Kay", "fuzz", NOON)
    described = schemathesis.openapi.from_asgi("/openapi.json", app)
    described.bearer = {"Authorization": f"Bearer {key}"}
    yield described
    app.state.store.close()


def test_no_call_ends_in_a_server_error(schema):
    """Each call of the document in turn, with data made from its own description."""
    tried, broken = 0, []
    for found in schema.get_all_operations():
        call = found.ok()

        @settings(
            max_examples=EXAMPLES,
            deadline=None,
            derandomize=True,
            database=None,
            suppress_health_check=list(HealthCheck),
        )
        @given(case=call.as_strategy())
        def one_call(case):
            case.call_and_validate(headers=schema.bearer, checks=CHECKS)

        tried += 1
        try:
            one_call()
        except Exception as fault:  # every call is tried, and all faults are told together
            broken.append(f"{call.method} {call.path}: {fault}")

    assert tried > 20
    assert not broken, "\n\n".join(broken)
