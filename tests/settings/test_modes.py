"""What each mode demands and sets, seen from outside by starting the program."""

import json
import re
import tomllib
from pathlib import Path

import pytest
from django.conf import settings

import registry
from tests.settings.production import ROOT, environment, manage

_SHOW = """
import json, sys
from django.conf import settings
print(json.dumps({name: getattr(settings, name) for name in sys.argv[1:]}))
"""


def _shown(variables: dict[str, str], *names: str) -> dict[str, object]:
    """Start Python with the variables and return the settings it then has."""
    done = manage({**variables, "DJANGO_SETTINGS_MODULE": "registry.settings"}, *names, code=_SHOW)
    assert done.returncode == 0, done.stderr
    values: dict[str, object] = json.loads(done.stdout)
    return values


class TestProduction:
    @pytest.mark.parametrize(
        "name",
        [
            "SOUNDLINE_SECRET_KEY",
            "SOUNDLINE_LOG_KEY",
            "SOUNDLINE_ISSUER_KEY",
            "SOUNDLINE_CLUB_NAME",
            "SOUNDLINE_SITE_URL",
            "SOUNDLINE_CONTACT_EMAIL",
            "SOUNDLINE_SMTP_HOST",
            "SOUNDLINE_MAIL_FROM",
        ],
    )
    def test_it_does_not_start_without(self, name: str, tmp_path: Path) -> None:
        variables = environment(tmp_path)
        del variables[name]

        done = manage(variables, "check")

        assert done.returncode != 0
        assert f"{name} (or {name}_FILE) must be set." in done.stderr

    def test_the_deployment_check_finds_nothing(self, tmp_path: Path) -> None:
        done = manage(environment(tmp_path), "check", "--deploy", "--fail-level", "WARNING")

        assert done.returncode == 0, done.stderr
        assert "no issues" in done.stdout

    def test_the_deployment_check_would_find_a_weak_key(self, tmp_path: Path) -> None:
        variables = environment(tmp_path) | {"SOUNDLINE_SECRET_KEY": "short"}

        done = manage(variables, "check", "--deploy", "--fail-level", "WARNING")

        assert done.returncode != 0
        assert "security.W009" in done.stderr

    def test_a_migrated_database_keeps_every_promise(self, tmp_path: Path) -> None:
        variables = environment(tmp_path)
        manage(variables, "migrate", "--verbosity", "0")

        done = manage(
            variables, "check", "--database", "default", "--deploy", "--fail-level", "WARNING"
        )

        assert done.returncode == 0, done.stderr

    def test_cookies_are_bound_to_this_host_and_to_tls(self, tmp_path: Path) -> None:
        shown = _shown(
            environment(tmp_path),
            "SESSION_COOKIE_NAME",
            "SESSION_COOKIE_SECURE",
            "CSRF_COOKIE_NAME",
            "CSRF_COOKIE_SECURE",
            "SECURE_SSL_REDIRECT",
            "DEBUG",
        )

        assert shown == {
            "SESSION_COOKIE_NAME": "__Host-session",
            "SESSION_COOKIE_SECURE": True,
            "CSRF_COOKIE_NAME": "__Host-csrf",
            "CSRF_COOKIE_SECURE": True,
            "SECURE_SSL_REDIRECT": True,
            "DEBUG": False,
        }

    def test_a_proxys_header_is_believed_only_when_told_so(self, tmp_path: Path) -> None:
        variables = environment(tmp_path)

        untold = _shown(variables, "SECURE_PROXY_SSL_HEADER")
        told = _shown(variables | {"SOUNDLINE_TRUST_PROXY": "yes"}, "SECURE_PROXY_SSL_HEADER")

        assert untold == {"SECURE_PROXY_SSL_HEADER": None}
        assert told == {"SECURE_PROXY_SSL_HEADER": ["HTTP_X_FORWARDED_PROTO", "https"]}


class TestTrials:
    def test_the_demo_starts_without_any_variable_of_ours(self, tmp_path: Path) -> None:
        variables = {"SOUNDLINE_MODE": "demo", "SOUNDLINE_VAR": str(tmp_path)}

        done = manage(variables, "check")

        assert done.returncode == 0, done.stderr

    def test_its_key_is_made_once_and_readable_by_its_user_only(self, tmp_path: Path) -> None:
        variables = {"SOUNDLINE_MODE": "demo", "SOUNDLINE_VAR": str(tmp_path)}

        first = _shown(variables, "SECRET_KEY")
        second = _shown(variables, "SECRET_KEY")

        assert first == second
        assert len(str(first["SECRET_KEY"])) > 64
        assert (tmp_path / "demo-secret-key").stat().st_mode & 0o077 == 0

    def test_two_installations_have_different_keys(self, tmp_path: Path) -> None:
        one = {"SOUNDLINE_MODE": "demo", "SOUNDLINE_VAR": str(tmp_path / "one")}
        two = {"SOUNDLINE_MODE": "demo", "SOUNDLINE_VAR": str(tmp_path / "two")}

        assert _shown(one, "SECRET_KEY") != _shown(two, "SECRET_KEY")


class TestDatabase:
    def test_a_url_names_a_postgresql_server(self, tmp_path: Path) -> None:
        variables = environment(tmp_path) | {"DATABASE_URL": "postgres://club@db.example/soundline"}

        database = _shown(variables, "DATABASES")["DATABASES"]["default"]  # type: ignore[index]

        assert database["ENGINE"] == "django.db.backends.postgresql"
        assert database["HOST"] == "db.example"
        assert database["OPTIONS"]["server_side_binding"] is True
        assert database["CONN_MAX_AGE"] is None

    def test_any_other_database_is_refused(self, tmp_path: Path) -> None:
        variables = environment(tmp_path) | {"DATABASE_URL": "mysql://club@db.example/soundline"}

        done = manage(variables, "check")

        assert done.returncode != 0
        assert "must name a sqlite or a postgres database" in done.stderr

    def test_requests_are_not_transactions(self) -> None:
        assert settings.DATABASES["default"]["ATOMIC_REQUESTS"] is False


def test_an_unknown_time_zone_is_refused(tmp_path: Path) -> None:
    done = manage(environment(tmp_path) | {"SOUNDLINE_TIME_ZONE": "Europe/Atlantis"}, "check")

    assert done.returncode != 0
    assert "there is no zone 'Europe/Atlantis'" in done.stderr


def test_no_secret_key_stands_in_the_settings_file() -> None:
    text = (ROOT / "registry" / "settings.py").read_text(encoding="utf-8")

    assert re.search(r"SECRET_KEY\s*=\s*[\"']", text) is None


def test_the_project_file_and_the_package_name_the_same_version() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))

    assert project["project"]["version"] == registry.__version__
