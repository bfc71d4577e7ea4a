"""Every operation is tried with what Schemathesis makes of its document: no fault of ours, nothing undocumented.

A share of the cases of its coverage phase (each limit, each type, each member left out or added), in process. What a
document cannot say (cursors are given out, tags are unique, tables end) makes the service refuse data that fit it, so
that refusing such data is not looked at here. DEVELOPERS.md has the long run against a real server.
"""

import json
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from flask import Flask
from hypothesis import HealthCheck, Phase, settings
from schemathesis.checks import CHECKS
from schemathesis.generation.modes import GenerationMode

from service.app import create_app
from service.settings import Settings
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from tests.api.samples.machines import fan, order
from tests.databases import SqliteFiles

FILE = Path(__file__).parents[2] / "openapi" / "openapi.json"
ALL_OF_THE_FIRST, THEN_EACH = 8, 24
NOT_LOOKED_AT = ("positive_data_acceptance", "use_after_free", "ensure_resource_availability", "unsupported_method",
                 "allow_header_conformance", "ignored_auth", "object_level_authorization")  # fmt: skip
"""Beside the first, what test_access.py and test_openapi.py look at with keys and routes of their own."""
SAME_BODIES = ["/v1/tables/{table_id}/recall", "/v1/housings/{housing_id}/recall"]
"""Operations with the body of another one, which take long to make cases of."""
LOOKED_AT = tuple(check for check in CHECKS.get_all() if check.__name__ not in NOT_LOOKED_AT)
schema = schemathesis.openapi.from_dict(json.loads(FILE.read_text(encoding="utf-8"))).exclude(path=SAME_BODIES)
schema.config.phases.fuzzing.enabled = schema.config.phases.stateful.enabled = False
made: Counter[str] = Counter()
tried: Counter[str] = Counter()
answered: Counter[int] = Counter()


@schema.hook
def filter_case(context: Any, case: Any) -> bool:
    """Choose the share: Schemathesis makes some hundred cases of an operation."""
    name = case.operation.label
    made[name] += 1
    return made[name] <= ALL_OF_THE_FIRST or made[name] % THEN_EACH == 0


@schemathesis.serializer("application/x-ndjson")
def ndjson(context: Any, value: Any) -> bytes:
    """Lines are texts in the document; what is no text is one line of JSON."""
    return value.encode("utf-8", "surrogatepass") if isinstance(value, str) else json.dumps(value).encode()


@pytest.fixture(scope="session")
def app(tmp_path_factory: pytest.TempPathFactory, sqlite_files: SqliteFiles) -> Iterator[Flask]:
    """The application with a site that has a machine and an order."""
    folder: Path = tmp_path_factory.mktemp("schemathesis")
    app = create_app(Settings(database_url=sqlite_files.clone(folder)))
    create_site(app.extensions["capsaddle"].database, "ALDER", "Alder Hollow board mill", "inch")
    yield app
    app.extensions["capsaddle"].database.dispose()


@pytest.fixture(scope="session")
def key(app: Flask) -> str:
    """A key with all scopes."""
    return create_key(app.extensions["capsaddle"].database, "ALDER", ("read", "write", "approve", "admin"))


@pytest.fixture(scope="session")
def on_record(app: Flask, key: str) -> dict[str, str]:
    """Ids that the cases are given where any id would do, so that they meet something."""
    opened = app.test_client().post(
        "/v1/work-orders", json=order(asset=fan()), headers={"Authorization": f"Bearer {key}"}
    )
    assert opened.status_code == 201
    return {"order_id": opened.json["id"], "asset_id": opened.json["asset_id"], "number": "1"}


@schema.parametrize()
@settings(phases=[Phase.explicit], suppress_health_check=list(HealthCheck), derandomize=True, deadline=None)
def test_an_operation_answers_as_its_document_says(case: Any, app: Flask, key: str, on_record: dict[str, str]) -> None:
    tried[case.operation.label] += 1
    negative = {
        str(place.value) for place, part in case.meta.components.items() if part.mode is GenerationMode.NEGATIVE
    }
    if "path" not in negative:
        case.path_parameters.update({name: one for name, one in on_record.items() if name in case.path_parameters})
    response = case.call(app=app, headers={"Authorization": f"Bearer {key}"})
    answered[response.status_code] += 1
    case.validate_response(response, checks=LOOKED_AT)


def test_the_cases_reached_what_is_behind_the_refusals() -> None:
    """The run above means something only if it met every operation, and answers of all kinds."""
    if not tried:
        pytest.skip("the cases were not run")
    assert len(tried) == len(list(schema.get_all_operations()))
    assert min(tried.values()) >= 3, tried.most_common()[-5:]
    assert {200, 201, 400, 404, 409, 422} <= set(answered), answered
