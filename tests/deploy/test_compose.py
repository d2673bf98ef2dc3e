"""The compose file names what a site needs, and gives no secret away."""

import re
from typing import Any

import pytest
import yaml

from tests.settings.production import ROOT, environment, manage

COMPOSE: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))
SERVICES: dict[str, Any] = COMPOSE["services"]
OURS = ("prepare", "app", "worker")


def _names_read_by_the_settings() -> set[str]:
    """Return every variable the settings, the server or the probe ask for."""
    text = "".join(
        (ROOT / name).read_text(encoding="utf-8")
        for name in ("registry/settings.py", "gunicorn.conf.py", "deploy/probe.py")
    )
    return set(re.findall(r'"((?:SOUNDLINE_|DATABASE_URL)\w*)"', text))


def test_it_brings_database_app_worker_and_proxy() -> None:
    assert {"database", "app", "worker", "proxy"} <= set(SERVICES)


@pytest.mark.parametrize("name", sorted(SERVICES))
class TestEveryService:
    def test_it_cannot_gain_privileges(self, name: str) -> None:
        # The database's image starts as root to own its folder, then drops to a user.
        if name != "database":
            assert SERVICES[name]["cap_drop"] == ["ALL"]
            assert "no-new-privileges:true" in SERVICES[name]["security_opt"]

    def test_it_mounts_only_what_is_declared(self, name: str) -> None:
        for volume in SERVICES[name].get("volumes", []):
            source = volume.split(":")[0]
            assert source in COMPOSE["volumes"] or (ROOT / source).exists()

    def test_its_secrets_are_declared(self, name: str) -> None:
        assert set(SERVICES[name].get("secrets", [])) <= set(COMPOSE["secrets"])

    def test_its_dependencies_exist_and_are_waited_for(self, name: str) -> None:
        for needed, how in SERVICES[name].get("depends_on", {}).items():
            assert needed in SERVICES
            assert how["condition"] in {"service_healthy", "service_completed_successfully"}


@pytest.mark.parametrize("name", ["database", "worker", "proxy"])
def test_a_lasting_service_has_a_health_check(name: str) -> None:
    assert SERVICES[name]["healthcheck"]["test"][0] in {"CMD", "CMD-SHELL"}


def test_the_apps_health_check_is_the_images() -> None:
    assert "healthcheck" not in SERVICES["app"]
    assert "deploy/probe.py" in (ROOT / "Dockerfile").read_text(encoding="utf-8")


def test_only_the_proxy_is_reachable_from_outside() -> None:
    assert [name for name in SERVICES if "ports" in SERVICES[name]] == ["proxy"]
    assert SERVICES["database"]["networks"] == ["inside"]
    assert COMPOSE["networks"]["inside"]["internal"] is True


@pytest.mark.parametrize("name", OURS)
class TestOurServices:
    def test_every_variable_is_one_the_registry_reads(self, name: str) -> None:
        known = _names_read_by_the_settings()

        given = {variable.removesuffix("_FILE") for variable in SERVICES[name]["environment"]}

        assert given <= known

    def test_it_is_given_all_that_production_requires(self, name: str) -> None:
        given = {variable.removesuffix("_FILE") for variable in SERVICES[name]["environment"]}

        assert set(environment(ROOT)) - {"PATH", "SOUNDLINE_VAR"} <= given

    def test_it_runs_on_a_read_only_disk(self, name: str) -> None:
        assert SERVICES[name]["read_only"] is True


def test_no_secret_stands_in_it() -> None:
    for service in SERVICES.values():
        for variable, value in service.get("environment", {}).items():
            if re.search("KEY|PASSWORD|DATABASE_URL", variable):
                assert variable.endswith("_FILE")
                assert value.removeprefix("/run/secrets/") in service["secrets"]


def test_the_example_names_every_variable_the_file_asks_for() -> None:
    asked = set(re.findall(r"\$\{(\w+)", (ROOT / "docker-compose.yml").read_text("utf-8")))
    example = (ROOT / "deploy" / "example.env").read_text(encoding="utf-8")

    assert set(re.findall(r"^(\w+)=", example, re.MULTILINE)) == asked


def test_the_commands_of_the_services_exist() -> None:
    commands = [SERVICES[name].get("command") for name in OURS]

    for command in commands:
        if command and command[:2] == ["python", "manage.py"]:
            done = manage({"SOUNDLINE_MODE": "demo", "PATH": ""}, command[2], "--help")
            assert done.returncode == 0, done.stderr


class TestImage:
    text = (ROOT / "Dockerfile").read_text(encoding="utf-8")

    def test_it_does_not_run_as_root(self) -> None:
        users = re.findall(r"^USER (\S+)", self.text, re.MULTILINE)

        assert users == ["soundline"]

    def test_it_installs_by_hash_and_without_the_tests_tools(self) -> None:
        assert "--require-hashes --requirement /tmp/requirements-run.lock" in self.text

    def test_what_it_copies_exists(self) -> None:
        copied = re.findall(r"^COPY (?!--from)(.+) \S+$", self.text, re.MULTILINE)

        for name in " ".join(copied).split():
            assert (ROOT / name).exists(), name
