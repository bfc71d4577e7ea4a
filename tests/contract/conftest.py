"""Each case of the document is a test of its own name, also where several processes share the tests."""

import pytest


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Name what Schemathesis collected by its operation: all have one id, and equal ids are run once when shared."""
    for item in items:
        if getattr(item, "operation_label", None) is not None and item.parent is not None:
            item._id = item.parent.id.child(item.name)
    if len({item.nodeid for item in items}) != len(items):
        raise pytest.UsageError("two tests have one id: processes that share the tests would run one of them")
