"""The history by the command line: files in, files out; and a start that does not load what only questions need."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from service.demo import history as demo_history
from tests.system.servers import run_command


@pytest.mark.parametrize("ending", ["csv", "ndjson"])
def test_a_history_goes_in_comes_out_and_goes_in_elsewhere(sqlite_url: str, tmp_path: Path, ending: str) -> None:
    for code in ("MILL-A", "MILL-B"):
        assert run_command(sqlite_url, "sites", "create", code, "--name", code, "--units", "metric").returncode == 0
    stays = demo_history.history()[:60]
    file, out = tmp_path / "stays.json", tmp_path / f"stays.{ending}"
    file.write_text(json.dumps({"items": stays}), encoding="utf-8")
    dry = run_command(sqlite_url, "import", str(file), "--site", "MILL-A", "--create-assets", "--dry-run")
    assert (dry.returncode, "60 of 60 stays would be new" in dry.stdout) == (0, True), dry.stderr
    done = run_command(sqlite_url, "import", str(file), "--site", "MILL-A", "--create-assets")
    assert (done.returncode, "60 of 60 stays are new" in done.stdout) == (0, True), done.stderr
    told = run_command(sqlite_url, "export", str(out), "--site", "MILL-A")
    assert (told.returncode, told.stdout.startswith("60 stays")) == (0, True), told.stderr
    again = run_command(sqlite_url, "import", str(out), "--site", "MILL-A")
    assert "0 of 60 stays are new, 60 were on record" in again.stdout, again.stderr
    other = run_command(sqlite_url, "import", str(out), "--site", "MILL-B", "--create-assets")
    assert "60 of 60 stays are new" in other.stdout, other.stderr


def test_what_is_wrong_in_a_file_is_said_row_by_row(sqlite_url: str, tmp_path: Path) -> None:
    run_command(sqlite_url, "sites", "create", "MILL-A", "--name", "Mill A", "--units", "metric")
    file = tmp_path / "stays.csv"
    file.write_text(
        "external_id,asset,position,designation,installed_at,end_type\nS-1,A,p,22216 K,2022-01-01,running\n"
    )
    refused = run_command(sqlite_url, "import", str(file), "--site", "MILL-A")
    assert refused.returncode != 0 and "Traceback" not in refused.stderr
    assert "row 1, installed_at:" in refused.stderr and "time_without_offset" in refused.stderr
    zoned = run_command(sqlite_url, "import", str(file), "--site", "MILL-A", "--zone", "UTC", "--create-assets")
    assert zoned.returncode == 0, zoned.stderr


def test_the_service_starts_without_the_libraries_that_only_questions_about_the_history_need() -> None:
    code = (
        "import sys; from service.app import create_app; from service.settings import Settings; "
        "create_app(Settings()); print(sorted({'numpy', 'scipy'} & set(sys.modules)))"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert told.stdout.strip() == "[]", told.stdout + told.stderr
