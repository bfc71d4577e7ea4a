"""Stays that the tests import; all invented."""

from typing import Any

from werkzeug.test import TestResponse

from tests.api.samples.checked import Client

STAY = {
    "external_id": "S-1",
    "asset": "DRY-2-FAN",
    "position": "tail",
    "designation": "22216 K/C3",
    "installed_at": "2022-03-04T10:00:00Z",
    "removed_at": "2023-09-12T06:30:00Z",
    "end_type": "failed",
}


def stay(external_id: str = "S-1", **members: Any) -> dict[str, Any]:
    """Return a stay; a member that is None is left out."""
    whole = {**STAY, "external_id": external_id, **members}
    return {name: value for name, value in whole.items() if value is not None}


def running(external_id: str, **members: Any) -> dict[str, Any]:
    """Return a stay that has not ended."""
    return stay(external_id, **{"removed_at": None, "end_type": "running", **members})


def sent(client: Client, *stays: dict[str, Any], query: str = "?create_assets=true") -> TestResponse:
    """Import stays as JSON."""
    return client.post(f"/v1/stays/import{query}", {"items": list(stays)})


def imported(client: Client, *stays: dict[str, Any]) -> dict[str, Any]:
    """Import stays that must stand."""
    answer = sent(client, *stays)
    assert answer.status_code == 200, answer.json
    body: dict[str, Any] = answer.json
    return body
