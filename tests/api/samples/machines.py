"""Machines that the tests register; all invented."""

from typing import Any


def inches(value: float) -> dict[str, Any]:
    """Return a length in inches."""
    return {"value": value, "unit": "in"}


def fan(tag: str = "DRY-2-FAN", **position: Any) -> dict[str, Any]:
    """Return a fan on two inch blocks, 3.0 m apart, the coupling behind the second; 60 K warmer than at assembly."""
    places = ({"name": "tail", "at": {"value": 0, "unit": "m"}}, {"name": "drive", "at": {"value": 3.0, "unit": "m"}})
    common = {
        "bearing": {"designation": "22216 K/C3"},
        "housing": {"size": "516", "dimensions": "inch"},
        "seat": "adapter_sleeve",
    }
    return {
        "tag": tag,
        "name": "Dryer 2 exhaust fan",
        "shafts": [
            {
                "name": "main",
                "drives": [{"at": {"value": 3.4, "unit": "m"}, "kind": "coupling"}],
                "shaft": {"material": "carbon_steel", "temperature": {"value": 80, "unit": "degC"}},
                "base": {"material": "concrete", "temperature": {"value": 20, "unit": "degC"}},
                "positions": [{**place, **common, **position} for place in places],
            }
        ],
    }


def bare(tag: str = "BARE-1") -> dict[str, Any]:
    """Return a machine of which nothing is known but that it has two bearings."""
    return {
        "tag": tag,
        "name": "Something that turns",
        "shafts": [{"name": "main", "positions": [{"name": "one"}, {"name": "other"}]}],
    }


def order(
    number: str = "WO-1", asset: Any = "DRY-2-FAN", positions: Any = ("tail", "drive"), **more: Any
) -> dict[str, Any]:
    """Return a work order."""
    external = {"system": "plant-a", "number": number}
    return {"external": external, "asset": asset, "positions": list(positions), **more}
