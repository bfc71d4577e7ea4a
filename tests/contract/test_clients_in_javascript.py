"""The contract as those meet it who call in TypeScript, and as linters of the trade read it.

Needs node and the packages of tests/contract/node (.ci/run installs them); skipped with the reason where they are not.
"""

import json
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from tests.system.servers import run_command, serving

ROOT = Path(__file__).parents[2]
DOCUMENT = ROOT / "openapi" / "openapi.json"
HERE = Path(__file__).parent / "node"
MODULES = os.environ.get("CAPSADDLE_TEST_NODE_MODULES", "")
CLIENT = ROOT / "tests" / "examples" / "client.ts"
STRICT = {
    "strict": True, "noUncheckedIndexedAccess": True, "exactOptionalPropertyTypes": True, "target": "ES2022",
    "module": "commonjs", "moduleResolution": "node", "types": ["node"], "lib": ["ES2022", "DOM"], "outDir": "out",
}  # fmt: skip

pytestmark = pytest.mark.skipif(
    not MODULES or shutil.which("node") is None,
    reason="CAPSADDLE_TEST_NODE_MODULES names no folder with the packages of tests/contract/node, or there is no node",
)


def tool(name: str, *arguments: str, folder: Path) -> "subprocess.CompletedProcess[str]":
    """Run a tool of the packages."""
    command = [str(Path(MODULES) / ".bin" / name), *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=600, cwd=folder)


def test_redocly_finds_nothing(tmp_path: Path) -> None:
    """Its recommended rules."""
    told = tool("redocly", "lint", str(DOCUMENT), "--extends=recommended", "--format=json", folder=tmp_path)
    found: dict[str, Any] = json.loads(told.stdout[told.stdout.index("{") :])
    wrong = [(each["ruleId"], each["message"], each["location"][0].get("pointer")) for each in found["problems"]]
    assert wrong == []


def test_spectral_finds_nothing(tmp_path: Path) -> None:
    """Its recommended rules; what is argued away stands in spectral.yaml with its reason."""
    told = tool(
        "spectral", "lint", str(DOCUMENT), "--ruleset", str(HERE / "spectral.yaml"), "--format=json", folder=tmp_path
    )
    found: list[dict[str, Any]] = json.loads(told.stdout[told.stdout.index("[") : told.stdout.rindex("]") + 1])
    assert [(each["code"], each["message"], each["path"]) for each in found] == []


def test_a_strict_typescript_client_is_compiled_and_goes_once_round_an_order(sqlite_url: str, tmp_path: Path) -> None:
    """A member with a default may be left out of a request: openapi-typescript is told so."""
    (tmp_path / "node_modules").symlink_to(MODULES)
    shutil.copy(CLIENT, tmp_path / "client.ts")
    (tmp_path / "tsconfig.json").write_text(json.dumps({"compilerOptions": STRICT, "files": ["client.ts"]}))
    made = tool(
        "openapi-typescript", str(DOCUMENT), "-o", "api.ts", "--default-non-nullable=false", folder=tmp_path
    )  # fmt: skip
    assert made.returncode == 0, made.stderr
    compiled = tool("tsc", "-p", ".", folder=tmp_path)
    assert (compiled.returncode, compiled.stdout) == (0, "")
    run_command(sqlite_url, "sites", "create", "MILL-A", "--name", "Mill A", "--units", "metric")
    key = run_command(sqlite_url, "keys", "create", "--site", "MILL-A", "--scopes", "read,write").stdout.split()[-1]
    with serving(sqlite_url) as server:
        command = ["node", str(tmp_path / "out" / "client.js"), server.base_url, key]
        said = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert said.returncode == 0, said.stderr
    assert "accept" in said.stdout and "0 stays" in said.stdout and "not_found: 'TS-1' is no id" in said.stdout
