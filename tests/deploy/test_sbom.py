"""The list of what a release is made of: all of the lock, nothing else, and always the same."""

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]


def _made() -> str:
    return subprocess.run(
        [sys.executable, "deploy/sbom.py"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout


@pytest.fixture(scope="module")
def bill() -> dict[str, Any]:
    made: dict[str, Any] = json.loads(_made())
    return made


def test_it_lists_every_pin_of_the_lock_and_nothing_else(bill: dict[str, Any]) -> None:
    lock = (ROOT / "requirements-run.lock").read_text(encoding="utf-8")
    pinned = set(re.findall(r"^[a-z0-9][\w.-]*==[^\s;\\]+", lock, re.MULTILINE))

    listed = [f"{each['name']}=={each['version']}" for each in bill["components"]]

    assert len(listed) > 30
    assert set(listed) == pinned


def test_it_has_the_form_of_the_standard(bill: dict[str, Any]) -> None:
    # CycloneDX 1.6: required members, the serial number's pattern, references that lead somewhere.
    assert bill["bomFormat"] == "CycloneDX"
    assert bill["specVersion"] == "1.6"
    assert re.fullmatch(r"urn:uuid:[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", bill["serialNumber"])
    refs = {each["bom-ref"] for each in bill["components"]}
    assert len(refs) == len(bill["components"])
    for each in bill["components"]:
        assert each["purl"] == f"pkg:pypi/{each['name']}@{each['version']}"
    assert set(bill["dependencies"][0]["dependsOn"]) == refs


def test_it_names_the_release(bill: dict[str, Any]) -> None:
    project = (ROOT / "pyproject.toml").read_text(encoding="utf-8")

    assert f'version = "{bill["metadata"]["component"]["version"]}"' in project


def test_it_is_the_same_every_time() -> None:
    assert _made() == _made()
