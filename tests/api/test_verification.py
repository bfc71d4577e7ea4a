"""capsaddle verify revisions: the same inputs still make the same instructions, and nobody changed them (rule I6)."""

from typing import Any

import pytest
import sqlalchemy as sa
from flask import Flask

from service.store.models import Revision
from service.use_cases.checks.verification import Verified, verify_revisions
from tests.api.conftest import ClientMaker
from tests.api.samples.orders import initial, known_fan, opened, sent
from tests.system.servers import run_command

TRIGGERS = {"sqlite": ("tr_revisions_update",), "postgresql": ("tr_revisions_change",)}


def changed(app: Flask, **values: Any) -> None:
    """Change the second revision behind the back of the service, as only somebody with the database's keys can."""
    engine = app.extensions["capsaddle"].database.engine
    with engine.begin() as connection:
        for trigger in TRIGGERS[engine.dialect.name]:
            on = " ON revisions" if engine.dialect.name == "postgresql" else ""
            connection.exec_driver_sql(f"DROP TRIGGER {trigger}{on}")
        row = connection.execute(sa.select(Revision.id).where(Revision.number == 2)).scalar_one()
        connection.execute(sa.update(Revision).where(Revision.id == row).values(**values))


def verified(app: Flask) -> list[Verified]:
    return verify_revisions(app.extensions["capsaddle"].database)


@pytest.fixture
def revised(app_on_each: Flask, client_of: ClientMaker) -> Flask:
    """An application with one order of two revisions, the second from a measured clearance and a ring found."""
    client = client_of(app_on_each)
    order = opened(client)
    sent(client, order["id"], initial("tail", 0.0040, 0.0041))
    return app_on_each


def test_revisions_are_computed_again_from_their_inputs(revised: Flask, client_of: ClientMaker) -> None:
    client = client_of(revised)
    order = opened(client, "WO-2", asset="DRY-2-FAN")
    client.post(f"/v1/work-orders/{order['id']}/as-found", {"position": "tail", "rings": [{"side": "plus"}]})
    opened(client_of(revised, "BIRCH"), asset=known_fan())
    assert verified(revised) == [Verified("ALDER", 4), Verified("BIRCH", 1)]


def test_a_changed_record_is_named(revised: Flask) -> None:
    changed(revised, record="{}")
    (alder, _) = verified(revised)
    assert (alder.computed, alder.different, alder.reason) == (
        1, "revision 2 of WO-1 (plant-a)", "the record differs from its hash",
    )  # fmt: skip


def test_changed_inputs_are_named(revised: Flask) -> None:
    with revised.extensions["capsaddle"].database.reading() as connection:
        inputs = connection.execute(sa.select(Revision.inputs).where(Revision.number == 2)).scalar_one()
    changed(revised, inputs=inputs.replace("101600", "104140"))
    (alder, _) = verified(revised)
    assert (alder.different, alder.reason) == ("revision 2 of WO-1 (plant-a)", "its inputs make other instructions")


def test_revisions_of_another_engine_are_held_against_their_hash_only(revised: Flask) -> None:
    """Another engine may rightly make other instructions of the same inputs: a difference would be a false alarm."""
    changed(revised, engine_version="0", inputs="{}")
    assert verified(revised)[0] == Verified("ALDER", 1, {"made by engine 0": 1})


def test_revisions_of_other_tables_are_held_against_their_hash_only(revised: Flask) -> None:
    changed(revised, engine_version="0", data_version="2025.1", inputs="{}")
    assert verified(revised)[0] == Verified("ALDER", 1, {"made by engine 0 with tables 2025.1": 1})


def test_a_changed_record_of_another_engine_is_named_all_the_same(revised: Flask) -> None:
    changed(revised, engine_version="0", record="{}")
    (alder, _) = verified(revised)
    assert (alder.computed, alder.elsewhere, alder.reason) == (1, {}, "the record differs from its hash")


def test_the_command_counts_what_another_engine_made_and_finds_no_fault(app: Flask, client_of: ClientMaker) -> None:
    client = client_of(app)
    sent(client, opened(client)["id"], initial("tail", 0.0040))
    changed(app, engine_version="0", inputs="{}")
    url = app.extensions["capsaddle"].settings.database_url
    told = run_command(url, "verify", "revisions", "--site", "ALDER")
    said = "ALDER: 1 computed again, 1 made by engine 0 (hash only); all agree"
    assert (told.returncode, told.stdout.strip()) == (0, said)


def test_the_command_ends_with_1_when_a_revision_differs(app: Flask, client_of: ClientMaker) -> None:
    client = client_of(app)
    sent(client, opened(client)["id"], initial("tail", 0.0040))
    url = app.extensions["capsaddle"].settings.database_url
    whole = run_command(url, "verify", "revisions")
    assert (whole.returncode, "ALDER: 2 computed again" in whole.stdout) == (0, True)
    changed(app, record="{}")
    broken = run_command(url, "verify", "revisions", "--site", "ALDER")
    assert broken.returncode == 1
    assert "revision 2 of WO-1 (plant-a): the record differs from its hash" in broken.stdout
    assert "BIRCH" not in broken.stdout
