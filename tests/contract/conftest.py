"""Each case of the document is a test of its own name, also where several processes share the tests."""

import pytest


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Give what Schemathesis collected the operation in its id: it gives all of them the same."""
    for item in items:
        operation = getattr(item, "operation_label", None)
        if operation is not None:
            item._nodeid = f"{item.nodeid}[{operation}]"
