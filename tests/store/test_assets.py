"""Assets come back as they were stored, and keep the identity of their positions."""

from threading import Barrier, Thread

import pytest

from service import errors, units
from service.store.database import Database
from service.store.queries import assets, work_orders
from tests.store import plant


def test_an_asset_comes_back_as_it_was_stored(database: Database) -> None:
    site_id = plant.site(database)
    stored = plant.stored(database, site_id)
    with database.read(site_id) as tx:
        by_id, by_tag = assets.asset_by_id(tx, stored.id), assets.asset_by_tag(tx, "FAN-1")
    assert by_id == by_tag == stored
    without_ids = [{name: value for name, value in p.items() if name != "id"} for p in stored.shafts[0]["positions"]]
    assert [stored.shafts[0] | {"positions": without_ids}] == plant.asset()["shafts"]
    assert stored.shafts[0]["positions"][1]["at"] == units.distance(3000)


def test_a_tag_is_unique_within_its_site_only(database: Database) -> None:
    north, south = plant.site(database, "north"), plant.site(database, "south")
    plant.stored(database, north)
    plant.stored(database, south)
    with pytest.raises(errors.Conflict) as refusal:
        plant.stored(database, north)
    assert refusal.value.code == "asset_tag_taken"


def test_another_sites_asset_is_not_found(database: Database) -> None:
    north, south = plant.site(database, "north"), plant.site(database, "south")
    machine = plant.stored(database, north)
    with database.read(south) as tx:
        assert assets.asset_by_id(tx, machine.id) is None
        assert assets.asset_by_tag(tx, machine.tag) is None
        assert assets.page_of_assets(tx, limit=10) == []
    with pytest.raises(errors.NotFound):
        plant.written(database, south, lambda tx: assets.replace_asset(tx, machine.id, 1, plant.asset()))
    with pytest.raises(errors.NotFound):
        plant.written(database, south, lambda tx: assets.delete_asset(tx, machine.id, 1))


@pytest.mark.parametrize("text", ["", "1", "FAN-1", "{01a211e1-d6ef-7133-945f-8f5177444b66}", "\x00" * 36])
def test_a_text_that_is_no_id_names_nothing(database: Database, text: str) -> None:
    with database.read(plant.site(database)) as tx:
        assert assets.asset_by_id(tx, text) is None


def test_pages_hold_every_asset_once(database: Database) -> None:
    site_id = plant.site(database)
    tags = [f"FAN-{number}" for number in range(7)]
    for tag in tags:
        plant.stored(database, site_id, plant.asset(tag))
    seen: list[str] = []
    after = None
    with database.read(site_id) as tx:
        while page := assets.page_of_assets(tx, after=after, limit=3):
            seen += [machine.tag for machine in page]
            assert all(len(machine.shafts[0]["positions"]) == 2 for machine in page)
            after = page[-1].id
    assert seen == tags


def test_a_position_renamed_by_its_id_keeps_it_and_two_may_swap_names(database: Database) -> None:
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    tail, drive = machine.shafts[0]["positions"]
    swapped = plant.asset("FAN-1", tail | {"name": "drive"}, drive | {"name": "tail"})
    changed = plant.written(database, site_id, lambda tx: assets.replace_asset(tx, machine.id, 1, swapped))
    assert [(p["id"], p["name"]) for p in changed.shafts[0]["positions"]] == [
        (tail["id"], "drive"),
        (drive["id"], "tail"),
    ]
    with database.read(site_id) as tx:
        assert assets.asset_by_id(tx, machine.id) == changed
    assert changed.version == 2


def test_a_position_without_id_is_known_again_by_its_name(database: Database) -> None:
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    document = plant.asset("FAN-1", plant.position("drive", 2900), plant.position("middle", 1500), name="New name")
    changed = plant.written(database, site_id, lambda tx: assets.replace_asset(tx, machine.id, 1, document))
    ids = {p["name"]: p["id"] for p in machine.shafts[0]["positions"]}
    assert changed.shafts[0]["positions"][0]["id"] == ids["drive"]
    assert changed.shafts[0]["positions"][1]["id"] not in ids.values()
    assert changed.name == "New name"


def test_a_position_moves_to_another_shaft_with_its_id(database: Database) -> None:
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    tail, drive = machine.shafts[0]["positions"]
    document = plant.asset("FAN-1", tail)
    document["shafts"].append({"name": "jack", "drives": [], "positions": [drive]})
    changed = plant.written(database, site_id, lambda tx: assets.replace_asset(tx, machine.id, 1, document))
    back = plant.written(database, site_id, lambda tx: assets.replace_asset(tx, machine.id, 2, plant.asset()))
    assert changed.shafts[1]["positions"][0]["id"] == drive["id"]
    assert [p["id"] for p in back.shafts[0]["positions"]] == [tail["id"], drive["id"]]
    assert len(back.shafts) == 1


def test_an_id_of_another_asset_is_refused(database: Database) -> None:
    site_id = plant.site(database)
    machine, other = (plant.stored(database, site_id, plant.asset(tag)) for tag in ("A", "B"))
    foreign = plant.asset("A", other.shafts[0]["positions"][0])
    with pytest.raises(errors.CannotEvaluate) as refusal:
        plant.written(database, site_id, lambda tx: assets.replace_asset(tx, machine.id, 1, foreign))
    assert (refusal.value.code, refusal.value.field) == ("unknown_position", "shafts/0/positions/0/id")


def test_a_position_named_twice_is_refused_and_nothing_stored(database: Database) -> None:
    site_id = plant.site(database)
    document = plant.asset("FAN-1", plant.position("tail", 0), plant.position("tail", 1))
    with pytest.raises(errors.CannotEvaluate) as refusal:
        plant.stored(database, site_id, document)
    assert (refusal.value.code, refusal.value.field) == ("position_named_twice", "shafts/0/positions/1/name")
    with database.read(site_id) as tx:
        assert assets.page_of_assets(tx, limit=1) == []


def test_a_position_with_history_cannot_be_dropped_but_can_be_renamed(database: Database) -> None:
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    plant.written(database, site_id, lambda tx: plant.order(tx, machine))
    tail, drive = machine.shafts[0]["positions"]
    with pytest.raises(errors.Conflict) as refusal:
        without = plant.asset("FAN-1", drive)
        plant.written(database, site_id, lambda tx: assets.replace_asset(tx, machine.id, 1, without))
    assert refusal.value.code == "position_has_history"
    assert refusal.value.facts == {"positions": ["tail"]}
    renamed = plant.asset("FAN-1", tail | {"name": "end"})
    changed = plant.written(database, site_id, lambda tx: assets.replace_asset(tx, machine.id, 1, renamed))
    with database.read(site_id) as tx:
        assert assets.asset_by_id(tx, machine.id) == changed
        assert work_orders.work_order_by_external(tx, "plant-a", "WO-1").positions[0]["name"] == "tail"  # type: ignore[union-attr]


def test_an_asset_is_deleted_unless_something_hangs_on_it(database: Database) -> None:
    site_id = plant.site(database)
    used, unused = plant.stored(database, site_id), plant.stored(database, site_id, plant.asset("FAN-2"))
    plant.written(database, site_id, lambda tx: plant.order(tx, used))
    plant.written(database, site_id, lambda tx: assets.delete_asset(tx, unused.id, 1))
    with pytest.raises(errors.Conflict) as refusal:
        plant.written(database, site_id, lambda tx: assets.delete_asset(tx, used.id, 1))
    assert refusal.value.code == "asset_in_use"
    with database.read(site_id) as tx:
        assert [row.tag for row in assets.page_of_assets(tx, limit=10)] == ["FAN-1"]
        assert assets.asset_by_id(tx, used.id) == used


def test_of_many_writers_with_the_same_version_one_wins(database: Database) -> None:
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    threads = 12
    start, outcomes = Barrier(threads), []

    def replace(number: int) -> None:
        document = plant.asset(name=f"Fan {number}")
        start.wait()
        try:
            row = plant.written(database, site_id, lambda tx: assets.replace_asset(tx, machine.id, 1, document))
            outcomes.append(row.name)
        except errors.StaleVersion as stale:
            outcomes.append(stale.facts["version"])

    running = [Thread(target=replace, args=(number,)) for number in range(threads)]
    for thread in running:
        thread.start()
    for thread in running:
        thread.join()
    names = [outcome for outcome in outcomes if isinstance(outcome, str)]
    assert len(names) == 1
    assert outcomes.count(2) == threads - 1
    with database.read(site_id) as tx:
        found = assets.asset_by_id(tx, machine.id)
    assert found is not None
    assert (found.name, found.version) == (names[0], 2)


def test_no_version_stands_for_any(database: Database) -> None:
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    for version in (2, 3):
        row = plant.written(database, site_id, lambda tx: assets.replace_asset(tx, machine.id, None, plant.asset()))
        assert row.version == version
