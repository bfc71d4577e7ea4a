"""What goes into the image: named with its SHA-256, no more and no less than the service needs, and listed.

Formats: pip's hash-checking mode; CycloneDX 1.6 (ECMA-424).
"""

import json
import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from importlib.metadata import PackageNotFoundError, requires
from pathlib import Path
from zipfile import ZipFile

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
CI_PYTHON = '"${TMPDIR:-/tmp}/capsaddle-tests/bin/python"'


def locked(file: str) -> dict[str, tuple[str, list[str]]]:
    """Version and hashes of each package of a lock."""
    text = (ROOT / "docker" / file).read_text().replace("\\\n", " ")
    found = {}
    for line in text.splitlines():
        name, _, rest = line.partition("==")
        version, *hashes = rest.split()
        found[canonicalize_name(name)] = (version, [each.removeprefix("--hash=") for each in hashes])
    return found


def needed(*wanted: Requirement) -> set[str]:
    """The packages that requirements lead to, as those that are installed here say."""
    found: set[str] = set()
    open_: list[tuple[Requirement, str]] = [(each, "") for each in wanted]
    while open_:
        each, extra = open_.pop()
        if each.marker is not None and not each.marker.evaluate({"extra": extra}):
            continue
        name = canonicalize_name(each.name)
        key = f"{name}[{','.join(sorted(each.extras))}]"
        if key in found:
            continue
        found |= {key, name}
        try:
            further = [Requirement(text) for text in requires(each.name) or ()]
        except PackageNotFoundError:
            pytest.fail(f"{each.name} is not installed here")
        open_ += [(one, of) for one in further for of in ("", *each.extras)]
    return {name for name in found if "[" not in name}


def test_the_image_gets_what_the_service_needs_and_nothing_else() -> None:
    """Run docker/lock.sh when this fails: pyproject.toml or docker/constraints.txt have changed."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert set(locked("runtime.txt")) == needed(*map(Requirement, project["dependencies"]))
    assert set(locked("build.txt")) == needed(Requirement("hatchling"))


@pytest.mark.parametrize("file", ["runtime.txt", "build.txt"])
def test_each_package_has_the_version_of_the_tests_and_its_hashes(file: str) -> None:
    lines = (ROOT / "docker/constraints.txt").read_text().split()
    tested = {canonicalize_name(name): version for name, version in (line.split("==") for line in lines)}
    for name, (version, hashes) in locked(file).items():
        assert tested[name] == version, name
        assert hashes and all(re.fullmatch(r"sha256:[0-9a-f]{64}", each) for each in hashes), name


def let_through() -> list[str]:
    """What .dockerignore lets through to the builder."""
    lines = (ROOT / ".dockerignore").read_text().splitlines()
    assert lines[0] == "*"
    return [line.removeprefix("!") for line in lines if line.startswith("!")]


def test_the_wheel_of_the_image_is_whole(tmp_path: Path) -> None:
    """Built from what the builder gets, by the command of the Dockerfile: what is not let through is missed here."""
    source, wheels = tmp_path / "src", tmp_path / "wheel"
    for name in let_through():
        (source / name).parent.mkdir(parents=True, exist_ok=True)
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, source / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(ROOT / name, source / name)
    text = (ROOT / "docker/Dockerfile").read_text()
    command = re.search(r"/opt/build/bin/python (-m hatchling build .*?) \\", text)
    assert command is not None
    arguments = command[1].replace("/wheel", str(wheels)).split()
    told = subprocess.run([sys.executable, *arguments], cwd=source, capture_output=True, text=True, timeout=120)
    assert told.returncode == 0, told.stderr
    (wheel,) = wheels.glob("*.whl")
    names = set(ZipFile(wheel).namelist())
    for part in ("_openapi/answers.json", "_migrations/env.py", "instructions/readings/data/confusables.txt"):
        assert f"service/{part}" in names
    assert any(name.endswith("UNICODE_LICENSE") and "dist-info" in name for name in names)


def test_the_list_of_what_runs_names_each_package_with_its_hashes(tmp_path: Path) -> None:
    """The line of .ci/run itself."""
    (line,) = (line for line in (ROOT / ".ci/run").read_text().splitlines() if "cyclonedx_py" in line)
    assert line.startswith(CI_PYTHON)
    arguments = shlex.split(line.removeprefix(CI_PYTHON).replace("dist/", f"{tmp_path}/"))
    subprocess.run([sys.executable, *arguments], cwd=ROOT, check=True, capture_output=True, timeout=120)
    listed = json.loads((tmp_path / "sbom.cdx.json").read_text())
    assert (listed["bomFormat"], listed["specVersion"]) == ("CycloneDX", "1.6")
    assert listed["metadata"]["component"]["name"] == "cap-and-saddle"
    found = {}
    for each in listed["components"]:
        hashes = [f"sha256:{one['content']}" for link in each["externalReferences"] for one in link.get("hashes", ())]
        assert each["purl"] == f"pkg:pypi/{canonicalize_name(each['name'])}@{each['version']}"
        found[canonicalize_name(each["name"])] = (each["version"], sorted(hashes))
    assert found == {name: (version, sorted(hashes)) for name, (version, hashes) in locked("runtime.txt").items()}
