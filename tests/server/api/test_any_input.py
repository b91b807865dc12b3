"""Whatever is sent, the service answers as its document says: schemathesis makes the requests from the document."""

from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from farms.models import Farm, User
from server.api.documentation import DOCUMENT
from tests.server.api.senders import session_of

pytestmark = [
    pytest.mark.full,
    pytest.mark.django_db(transaction=True, databases="__all__"),
    # Schemathesis and the tools under it leave warnings of their own.
    pytest.mark.filterwarnings("default"),
]
document = schemathesis.openapi.from_path(str(DOCUMENT))
# Who may come in, and what is refused, has tests of its own.
CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]


@document.parametrize()
@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
def test_every_operation_answers_as_documented(case: schemathesis.Case, live_server: Any, northfield: Farm, anna: User):
    owner = session_of(anna)
    owner.get("/api/v1/docs?script=")
    session, csrf = (owner.cookies[name].value for name in ("sessionid", "csrftoken"))
    if "farm_id" in case.path_parameters:
        case.path_parameters["farm_id"] = str(northfield.id)
    headers = {"Cookie": f"sessionid={session}; csrftoken={csrf}", "X-CSRFToken": csrf}
    case.call_and_validate(base_url=live_server.url, headers=headers, checks=CHECKS)
