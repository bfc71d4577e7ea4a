"""Migrations are found by an installed wheel and by an editable install alike."""

import subprocess
import sys
from pathlib import Path

import pytest

from service.store import migrate

ROOT = Path(__file__).parents[2]
SCRIPT = """
import sys, service
from service.store import migrate
from service.store.database import Database
from service.settings import Settings
migrate.upgrade(sys.argv[1])
print(service.__file__, migrate.folder(), Database(Settings(database_url=sys.argv[1])).ready()["ready"])
"""


def migrated(python_path: Path, folder: Path) -> list[str]:
    """What an interpreter says that finds the service at ``python_path``: where that was, and whether it is ready."""
    command = [sys.executable, "-c", SCRIPT, f"sqlite:///{folder / 'plant.db'}"]
    environment = {"PYTHONPATH": str(python_path)}
    done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout.split()


def test_a_wheel_carries_its_migrations(tmp_path: Path) -> None:
    pytest.importorskip("hatchling", reason="the wheel is built here without asking the network")
    wheels, installed = tmp_path / "wheels", tmp_path / "installed"
    pip = [sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check"]
    build = [*pip, "wheel", "--no-deps", "--no-build-isolation", "--wheel-dir", str(wheels), str(ROOT)]
    subprocess.run(build, check=True, capture_output=True)
    (wheel,) = wheels.glob("*.whl")
    install = [*pip, "install", "--no-deps", "--no-index", "--no-compile", "--target", str(installed), str(wheel)]
    subprocess.run(install, check=True, capture_output=True)
    module, folder, ready = migrated(installed, tmp_path)
    assert module == str(installed / "service" / "__init__.py")
    assert folder == str(installed / "service" / "_migrations")
    assert ready == "True"


def test_an_editable_install_finds_them_beside_the_package(tmp_path: Path) -> None:
    """An editable install puts the repository on the path, as is done here."""
    module, folder, ready = migrated(ROOT, tmp_path)
    assert module == str(ROOT / "service" / "__init__.py")
    assert folder == str(ROOT / "migrations") == str(migrate.folder())
    assert ready == "True"
