#!/usr/bin/env bash
# An example: the same with curl.   URL=http://HOST:8080 KEY=capsaddle_... bash quick_start.sh
set -euo pipefail

asked() { curl -sS --fail-with-body -H "Authorization: Bearer $KEY" -H 'Content-Type: application/json' "$@"; }

# 1. Clearance targets of one bearing, with what was measured before mounting; nothing is stored.
asked "$URL/v1/clearance-targets?units=inch" -d '{
  "bearing": {"designation": "22216 K/C3"}, "seat": "adapter_sleeve",
  "measured_clearance": {"value": 0.0040, "unit": "in"}}'
echo

# 2. Open an order; the machine comes along in full. Then find its id by your own number.
asked -o /dev/null "$URL/v1/work-orders" -d '{
  "external": {"system": "plant-a", "number": "WO-20002"},
  "asset": {"tag": "DRY-8-FAN", "name": "Dryer 8 exhaust fan", "shafts": [{"name": "main", "positions": [
    {"name": "tail", "at": {"value": 0, "unit": "m"}, "bearing": {"designation": "22216 K/C3"},
     "housing": {"size": "516", "dimensions": "inch"}, "seat": "adapter_sleeve"},
    {"name": "drive", "at": {"value": 3, "unit": "m"}, "bearing": {"designation": "22216 K/C3"},
     "housing": {"size": "516", "dimensions": "inch"}, "seat": "adapter_sleeve"}]}]},
  "positions": ["tail"]}'
ORDER=$(asked "$URL/v1/work-orders?system=plant-a&number=WO-20002" | sed -E 's/.*"items":\[\{"id":"([^"]+)".*/\1/')

# 3. The card, and its steps as rows.
asked -H 'Accept: text/plain' "$URL/v1/work-orders/$ORDER/instructions?width=72"
asked "$URL/v1/work-orders/$ORDER/instructions/steps.csv"

# 4. What happened, from the beginning.
asked "$URL/v1/events?after=0&limit=10"
echo
