"""A Python client generated from openapi/openapi.json opens an order, reads it and gets problems as such.

The generator is openapi-python-client (extra ``bench``); it is not told anything but the media types it does not know.
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from service.settings import Settings
from service.store.database import Database
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from tests.api.samples.machines import fan, order
from tests.system.servers import serving

ROOT = Path(__file__).parents[2]
CONFIG = """
post_hooks: []
content_type_overrides:
  application/x-ndjson: application/octet-stream
  application/pdf: application/octet-stream
  text/csv: application/octet-stream
  image/svg+xml: text/plain
  application/xml: text/plain
"""
SCRIPT = """
import json, sys
from generated import AuthenticatedClient
from generated.api.capabilities import read_capabilities
from generated.api.work_orders import list_work_orders, open_work_order
from generated.models import ListWorkOrdersStatus, Problem, WorkOrderRead, WorkOrderRequest

base_url, key, body = sys.argv[1], sys.argv[2], json.loads(sys.argv[3])
client = AuthenticatedClient(base_url=base_url, token=key, raise_on_unexpected_status=True)
opened = open_work_order.sync(client=client, body=WorkOrderRequest.from_dict(body))
assert isinstance(opened, WorkOrderRead), opened
again = open_work_order.sync_detailed(client=client, body=WorkOrderRequest.from_dict(body))
assert again.status_code == 200 and again.parsed.to_dict() == opened.to_dict()
refused = open_work_order.sync(client=client, body=WorkOrderRequest.from_dict({**body, "kind": "inspection"}))
assert isinstance(refused, Problem) and refused.code == "work_order_differs", refused
listed = list_work_orders.sync(client=client, status=ListWorkOrdersStatus.OPEN)
print(json.dumps({
    "number": opened.external.number,
    "steps": [step.number for step in opened.instructions.steps],
    "blade": opened.instructions.targets[0].residual_clearance.max_.text,
    "listed": [item.id for item in listed.items] == [opened.id],
    "scopes": read_capabilities.sync(client=client).scopes,
}))
"""


def generated(folder: Path) -> Path:
    config = folder / "config.yml"
    config.write_text(CONFIG)
    command = ["-m", "openapi_python_client", "generate", "--path", str(ROOT / "openapi" / "openapi.json")]
    command += ["--output-path", str(folder / "generated"), "--meta", "none", "--config", str(config)]
    done = subprocess.run([sys.executable, *command, "--fail-on-warning"], capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    return folder


def test_a_generated_client_works(sqlite_url: str, tmp_path: Path) -> None:
    pytest.importorskip("openapi_python_client", reason="the generator is in the extra bench")
    folder = generated(tmp_path)
    database = Database(Settings(database_url=sqlite_url))
    create_site(database, "ALDER", "Alder Hollow board mill", "inch")
    key = create_key(database, "ALDER", ("read", "write"))
    database.dispose()
    body = json.dumps(order(asset=fan(), positions=("tail",)))
    with serving(sqlite_url) as server:
        command = [sys.executable, "-c", SCRIPT, server.base_url, key, body]
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    said = json.loads(done.stdout)
    assert said["number"] == "WO-1"
    assert said["steps"] == sorted(set(said["steps"])) and len(said["steps"]) > 10
    assert " in (" in said["blade"]
    assert (said["listed"], said["scopes"]) == (True, ["read", "write"])
