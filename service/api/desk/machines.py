"""/desk/machines: search, and for each machine what runs where, its orders, its stays and what was measured."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from flask import Response, request

from service.api.desk.door import HOME, Desk, page, shown, to
from service.api.desk.same import OWN, PAGE, Same, address, asked_for, first_page, links
from service.api.http.problems import ProblemRaised
from service.api.lives.query import LifeQuery
from service.moments import rfc3339
from service.render.desk.machine import clearance_plot, machine_time_line, shaft_pictures
from service.render.present import present, text
from service.store.queries import assets, desk
from service.store.queries.assets import AssetRow
from service.store.queries.attributes import attribute_types
from service.store.queries.stay_lists import Chosen, stay_rows
from service.store.transaction import Tx
from service.use_cases.desk import machines as use_case
from service.use_cases.desk.today import open_orders, standing_flags
from service.use_cases.found import found
from service.use_cases.stays.lines import LISTED_COLUMNS, cells_of, flat_line, flat_values
from service.words import END_TYPES

MACHINES: Final = f"{HOME}/machines"
ON_A_PAGE: Final = 50
STAYS_ON_A_PAGE: Final = 100
LONGEST: Final = 80
SORTS: Final = ("installed_at", "removed_at", "position", "designation", "age_h", "residual", "end_type")
FILTERS: Final = ("position", "end_type", "place")
ORDERS_SHOWN: Final = 5
BATCH: Final = 500


@page("/machines")
def machines(desk_: Desk) -> Response:
    """Show the machines whose tag or name holds some words."""
    words, after = _given("q"), _given("after", longest=200)
    with desk_.reading() as tx:
        rows = desk.machines_found(tx, words, after=after, limit=ON_A_PAGE + 1)
    if words and after is None and [row.tag for row in rows] == [words]:
        return to(f"{MACHINES}/{rows[0].id}")
    further = rows[ON_A_PAGE - 1].tag if len(rows) > ON_A_PAGE else None
    return shown(
        desk_,
        "machines",
        here="machines",
        title="Machines",
        words=words or "",
        machines=rows[:ON_A_PAGE],
        first=after is None,
        next=None if further is None else address(MACHINES, {"q": words, "after": further}),
    )


@page("/machines/<asset_id>")
def machine(desk_: Desk, asset_id: str) -> Response:
    """Show one machine."""
    filters = _filters()
    by, falling = _sorting()
    with desk_.reading() as tx:
        asset = found(assets.asset_by_id(tx, asset_id), "machine")
        answers = _answers(desk_, tx, asset)
        given = asked_for(desk_, answers)
        if given is not None:
            return given
        stays = use_case.stays_of(tx, asset, _ages(tx, asset))
        lines = use_case.shaft_lines(tx, asset)
        orders = present(open_orders(tx, after=None, limit=ORDERS_SHOWN, asset=asset.tag), desk_.units)
        flags = [one for one in standing_flags(tx) if one["asset_id"] == asset.id]
        trends = list(_trends(tx, desk_, asset, stays))
        as_of = tx.now
    order = _position_order(asset, stays)
    picked = use_case.in_order(use_case.chosen(stays, filters), by, falling=falling)
    here = [one for one in stays if one["end_type"] == use_case.RUNNING]
    return shown(
        desk_,
        "machine",
        here="machines",
        title=asset.tag if asset.name == asset.tag else f"{asset.tag}, {asset.name}",
        asset=asset,
        path=f"{MACHINES}/{asset.id}",
        as_of=rfc3339(as_of),
        running=sorted(here, key=lambda one: order.index(one["position"])),
        flags=flags,
        trends=trends,
        orders=orders,
        shafts=shaft_pictures(lines, asset.tag, desk_.units),
        time_line=machine_time_line(order, stays, as_of, desk_.units),
        clearances=[each for name in order for each in clearance_plot(name, stays, desk_.units)],
        stays=picked[_offset() : _offset() + STAYS_ON_A_PAGE],
        count=len(picked),
        all_count=len(stays),
        many=len(stays) >= use_case.MOST_STAYS,
        offset=_offset(),
        page_size=STAYS_ON_A_PAGE,
        sort=by,
        falling=falling,
        filters=dict.fromkeys(FILTERS, "") | filters,
        positions=order,
        end_types=END_TYPES,
        headed=_headed(by, falling),
        turned=_turned(len(picked)),
        links=links(answers),
    )


def _answers(desk_: Desk, tx: Tx, asset: AssetRow) -> list[Same]:
    """Return the stays of the machine and the machine itself, as the API answers them."""
    where = address("/v1/stays", {"asset": asset.tag})
    which = Chosen(asset=asset.tag)
    items = [flat_line(row, LISTED_COLUMNS) for row in stay_rows(tx, which, after=None, limit=PAGE + 1)]
    columns = cells_of(LISTED_COLUMNS, sorted(attribute_types(tx)))

    def rows() -> Any:
        lines = [flat_values(row, columns) for row in stay_rows(tx, which, after=None, limit=100_000)]
        return columns, iter(lines[start : start + BATCH] for start in range(0, len(lines), BATCH))

    return [Same(where, first_page(desk_, where, items), rows, "stays")]


def _ages(tx: Tx, asset: AssetRow) -> dict[str, Mapping[str, Any]]:
    """Return the age of each stay of the machine, and what it was counted by."""
    from service.use_cases.lives.behind import lives_behind

    behind = lives_behind(tx, LifeQuery().load({"asset": asset.tag}), "life-analysis")
    return {line["stay"]: line for line in behind.page(None, use_case.MOST_STAYS)}


def _trends(tx: Tx, desk_: Desk, asset: AssetRow, stays: Sequence[Mapping[str, Any]]) -> Any:
    """Yield for each position what the order of its lives says, in the words of the API."""
    from service.api.lives.query import PositionRecurrenceQuery
    from service.use_cases.lives.by_place import place_of, recurrence_of

    ended = {one["position"] for one in stays if one["end_type"] != use_case.RUNNING}
    for shaft in asset.shafts:
        for each in shaft["positions"]:
            if each["name"] in ended:
                query = PositionRecurrenceQuery().load({})
                trend = recurrence_of(tx, query, place_of(tx, each["id"])).trend_record
                where = f"/v1/positions/{each['id']}/recurrence"
                yield {
                    "position": each["name"],
                    "verdict": trend["verdict"],
                    "detail": text(trend["detail"], desk_.units),
                    "address": where,
                }


def _position_order(asset: AssetRow, stays: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return the positions in the order of the machine, then those that only stays know."""
    known = [each["name"] for shaft in asset.shafts for each in shaft["positions"]]
    return list(dict.fromkeys([*known, *(one["position"] for one in stays)]))


def _filters() -> dict[str, str]:
    given = {name: _given(name) for name in FILTERS}
    return {name: value for name, value in given.items() if value}


def _sorting() -> tuple[str, bool]:
    by = _given("sort") or SORTS[0]
    if by not in SORTS:
        raise ProblemRaised("bad_parameter", f"sort: one of {', '.join(SORTS)}")
    return by, (_given("order") or "falling") == "falling"


def _offset() -> int:
    given = request.args.get("from", "0")
    return int(given) if given.isascii() and given.isdigit() and len(given) < 7 else 0


def _given(name: str, *, longest: int = LONGEST) -> str | None:
    value = request.args.get(name, "").strip()
    if len(value) > longest or "\0" in value:
        raise ProblemRaised("bad_parameter", f"{name}: at most {longest} characters are looked for")
    return value or None


def _kept(*without: str) -> dict[str, str]:
    return {name: value for name, value in request.args.items() if name not in (*OWN, *without)}


def _headed(by: str, falling: bool) -> dict[str, str]:
    """Return where each column of the table leads to: sorted by it, the other way where it is sorted by already."""
    return {
        name: address(
            request.path,
            {
                **_kept("sort", "order", "from"),
                "sort": name,
                "order": "rising" if name == by and falling else "falling",
            },
        )
        + "#stays"
        for name in SORTS
    }


def _turned(count: int) -> dict[str, str | None]:
    """Return where the pages before and behind of the table are."""
    at = _offset()
    places = {"before": at - STAYS_ON_A_PAGE, "behind": at + STAYS_ON_A_PAGE}
    return {
        name: address(request.path, {**_kept("from"), "from": place}) + "#stays" if 0 <= place < count else None
        for name, place in places.items()
    }
