"""An example: a work order from opening to the card, with the library requests.

python quick_start.py http://HOST:8080 capsaddle_...
"""

import sys

import requests

BASE_URL, KEY = sys.argv[1], sys.argv[2]

session = requests.Session()
session.headers["Authorization"] = f"Bearer {KEY}"

# 1. Open the order. The machine may come along in full; its number makes a repetition safe.
PLACE = {"bearing": {"designation": "22216 K/C3"}, "housing": {"size": "516", "dimensions": "inch"}}
opened = session.post(
    f"{BASE_URL}/v1/work-orders",
    json={
        "external": {"system": "plant-a", "number": "WO-20001"},
        "asset": {
            "tag": "DRY-7-FAN",
            "name": "Dryer 7 exhaust fan",
            "shafts": [
                {
                    "name": "main",
                    "drives": [{"at": {"value": 3.4, "unit": "m"}, "kind": "coupling"}],
                    "positions": [
                        {"name": "tail", "at": {"value": 0, "unit": "m"}, "seat": "adapter_sleeve", **PLACE},
                        {"name": "drive", "at": {"value": 3, "unit": "m"}, "seat": "adapter_sleeve", **PLACE},
                    ],
                }
            ],
        },
        "positions": ["tail"],
    },
    timeout=10,
)
if not opened.ok:
    problem = opened.json()  # RFC 9457: code for the program, detail for people, errors with the place of each fault
    raise SystemExit(f"{problem['code']}: {problem['detail']}")
order = opened.json()

# 2. What must not be done like this, and what we need to know.
for blocked in order["instructions"]["blocked"]:
    print("STOP", blocked["detail"])
for missing in order["instructions"]["missing"]:
    print("ASK", missing["field"], "-", missing["how"])

# 3. The card for the long text of your order: 72 columns, ASCII.
card = session.get(
    f"{BASE_URL}/v1/work-orders/{order['id']}/instructions", headers={"Accept": "text/plain"}, timeout=10
)
card.raise_for_status()
print(card.text)

# 4. A reading, judged while the nut can still be turned. A repetition under the same key changes nothing.
judged = session.post(
    f"{BASE_URL}/v1/work-orders/{order['id']}/readings",
    headers={"Idempotency-Key": "WO-20001-initial"},
    json={
        "readings": [
            {
                "position": "tail",
                "kind": "initial_clearance",
                "values": [
                    {"value": {"value": 0.0040, "unit": "in"}, "row": 1},
                    {"value": {"value": 0.0040, "unit": "in"}, "row": 2},
                ],
                "taken_at": "2026-01-07T09:10:00Z",
                "taken_by": "A. Fitter",
            }
        ]
    },
    timeout=10,
)
judged.raise_for_status()
for item in judged.json()["items"]:
    print("READING", item["verdict"], item["next"])
