"""How a command is run: with the settings, and what is wrong said in a sentence."""

import os
from collections.abc import Callable
from functools import wraps
from typing import Any

import click

from service.errors import ServiceError
from service.settings import Settings, SettingsError


def with_settings(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the settings; what is wrong is said in a sentence, without a traceback."""

    @wraps(command)
    def run(*args: Any, **kwargs: Any) -> None:
        try:
            command(Settings.from_environment(os.environ), *args, **kwargs)
        except (SettingsError, ServiceError) as error:
            raise click.ClickException(str(error)) from None

    return run
