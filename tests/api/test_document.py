"""The OpenAPI document is one that other people's programs can work from.

What a linter of such documents asks is asked here of every operation; where Redocly's or Spectral's
program is installed (``npx --no-install``), it is asked too.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from api.operations import NAMES, PARTS
from api.views.about import document
from registry.desk.people import SCOPES

Operation = dict[str, Any]


def operations() -> Iterator[tuple[str, str, Operation]]:
    for path, item in document()["paths"].items():
        for method, operation in item.items():
            yield method.upper(), path, operation


EACH = [pytest.param(*each, id=f"{each[0]} {each[1]}") for each in operations()]


class TestWhole:
    def test_it_names_the_site_its_licence_and_whom_to_ask(self) -> None:
        found = document()

        assert found["servers"][0]["url"].startswith("http")
        assert found["info"]["license"]["identifier"] == "MIT"
        assert "@" in found["info"]["contact"]["email"]

    def test_it_says_how_a_token_is_sent(self) -> None:
        scheme = document()["components"]["securitySchemes"]["token"]

        assert (scheme["type"], scheme["scheme"]) == ("http", "bearer")

    def test_every_part_is_described_and_used(self) -> None:
        used = {tag for _method, _path, operation in operations() for tag in operation["tags"]}

        assert used == {tag["name"] for tag in document()["tags"]} == set(PARTS)
        assert all(tag["description"] for tag in document()["tags"])

    def test_every_name_is_used_once(self) -> None:
        names = [operation["operationId"] for _method, _path, operation in operations()]

        assert sorted(names) == sorted(NAMES.values())
        assert len(set(names)) == len(names)

    def test_every_shape_that_is_named_is_there(self) -> None:
        text = json.dumps(document())
        named = set(re.findall(r'"#/components/schemas/(\w+)"', text))

        assert named <= set(document()["components"]["schemas"])


@pytest.mark.parametrize(("method", "path", "operation"), EACH)
class TestEachOperation:
    def test_its_security_is_said_and_its_scheme_is_there(
        self, method: str, path: str, operation: Operation
    ) -> None:
        schemes = document()["components"]["securitySchemes"]

        assert "security" in operation
        assert all(name in schemes for each in operation["security"] for name in each)

    def test_it_says_which_scope_it_needs(
        self, method: str, path: str, operation: Operation
    ) -> None:
        words = operation["description"].rpartition("\n\n")[2]

        if not operation["security"]:
            assert words == "Open to all."
        elif words != "Needs a token.":
            said = re.fullmatch(r"Needs a ([a-z ]+)'s token with the scope `(.+)`\.", words)
            assert said and said[1].split(" or ") == list(SCOPES[said[2]])

    def test_its_name_is_a_function_of_a_program(
        self, method: str, path: str, operation: Operation
    ) -> None:
        assert re.fullmatch(r"[a-z]+([A-Z][a-z]*)+", operation["operationId"])

    def test_a_body_that_it_takes_must_be_there(
        self, method: str, path: str, operation: Operation
    ) -> None:
        if "requestBody" in operation:
            assert operation["requestBody"]["required"] is True

    def test_it_is_described_for_success_and_refusal(
        self, method: str, path: str, operation: Operation
    ) -> None:
        statuses = set(operation["responses"])

        assert any(status.startswith("2") for status in statuses)
        assert any(status.startswith("4") for status in statuses)
        assert all(each.get("description") for each in operation["responses"].values())

    def test_the_headers_that_a_program_waits_for_are_described(
        self, method: str, path: str, operation: Operation
    ) -> None:
        assert "Retry-After" in operation["responses"]["429"]["headers"]
        if method == "GET":
            assert "ETag" in operation["responses"]["200"]["headers"]


@pytest.mark.parametrize(
    "command", [("redocly", "lint"), ("spectral", "lint")], ids=["Redocly", "Spectral"]
)
def test_a_linter_from_elsewhere_finds_no_error(command: tuple[str, str], tmp_path: Path) -> None:
    program = shutil.which(command[0])
    if program is None:
        pytest.skip(f"{command[0]} is not installed: npm install --global its command line")
    (tmp_path / "openapi.json").write_text(json.dumps(document()), encoding="utf-8")
    (tmp_path / ".spectral.yaml").write_text('extends: ["spectral:oas"]\n', encoding="utf-8")

    done = subprocess.run(
        [program, *command[1:], "openapi.json"],
        check=False,
        cwd=tmp_path,
        capture_output=True,
        timeout=120,
    )

    assert done.returncode == 0, done.stdout.decode()[-2000:]
