"""Browsers without any key."""

import pytest
from flask import Flask
from flask.testing import FlaskClient


@pytest.fixture
def phone_on_each(app_on_each: Flask) -> FlaskClient:
    """A browser without any key."""
    return app_on_each.test_client()


@pytest.fixture
def phone(app: Flask) -> FlaskClient:
    """A browser without any key."""
    return app.test_client()
