"""What a signed link, a token, a password and a TLS line are worth."""

from __future__ import annotations

import base64
import json
import ssl
from pathlib import Path

import pytest
from django.contrib.auth.hashers import Argon2PasswordHasher
from django.core import signing
from django.core.mail.backends.smtp import EmailBackend
from django.test import Client
from pytest_django import Settings

from registry.desk.mail import evaluation_id_of, owner_token
from registry.models import Evaluation
from tests.assurance.source import ROOT
from tests.factories import make_accepted, make_club, make_token
from tests.settings.production import environment, manage


@pytest.fixture
def evaluation(db: None) -> Evaluation:
    return make_accepted(make_club()).evaluation


class TestOwnersLink:
    def test_a_signature_made_for_another_purpose_opens_nothing(
        self, evaluation: Evaluation
    ) -> None:
        for salt in ("", "session", "django.core.signing.Signer", "password-reset"):
            forged = signing.Signer(salt=salt or None).sign(evaluation.public_id)

            assert evaluation_id_of(forged) is None
            assert Client().get(f"/owner/{forged}/").status_code == 404

    def test_a_link_of_another_registry_opens_nothing(
        self, evaluation: Evaluation, settings: Settings
    ) -> None:
        token = owner_token(evaluation)
        settings.SECRET_KEY, settings.SECRET_KEY_FALLBACKS = "another club's " + "x" * 50, []

        assert evaluation_id_of(token) is None

    def test_it_stands_after_a_change_of_keys_and_falls_with_the_former_key(
        self, evaluation: Evaluation, settings: Settings
    ) -> None:
        token = owner_token(evaluation)
        settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY]
        settings.SECRET_KEY = "a new one " + "y" * 50
        after_the_change = evaluation_id_of(token)
        settings.SECRET_KEY_FALLBACKS = []

        assert after_the_change == evaluation.public_id
        assert evaluation_id_of(token) is None

    def test_it_is_signed_by_a_hash_that_stands(self, evaluation: Evaluation) -> None:
        _id, signature = owner_token(evaluation).rsplit(":", 1)

        # HMAC-SHA-256: 32 bytes, in base64 without padding.
        assert len(base64.urlsafe_b64decode(signature + "=")) == 32


@pytest.mark.django_db
class TestTokens:
    def test_two_hundred_have_256_random_bits_each(self) -> None:
        club = make_club()

        made = {make_token(club.nurse, by=club.secretary.actor) for _ in range(200)}

        raw = [base64.urlsafe_b64decode(token.removeprefix("sl_") + "=") for token in made]
        assert {len(each) for each in raw} == {32}
        # Of 51,200 random bits half are set, give or take five standard deviations (113).
        ones = sum(int.from_bytes(each, "big").bit_count() for each in raw)
        assert abs(ones - 25_600) < 5 * 113.2

    def test_a_session_has_more_than_128_bits_and_a_planted_one_is_left_behind(self) -> None:
        club = make_club()
        client = Client()
        planted = client.session
        planted["planted"] = True
        planted.save()
        client.cookies["session"] = planted.session_key or ""

        client.force_login(club.nurse.user)

        key = client.session.session_key or ""
        # 36 symbols: 5.17 bits each.
        assert len(key) * 5.17 > 128
        assert key != planted.session_key
        assert not planted.exists(planted.session_key or "")

    def test_a_token_is_taken_from_the_header_alone(self) -> None:
        club = make_club()
        token = make_token(club.nurse, by=club.secretary.actor)

        for path in (f"/api/v1/me?token={token}", f"/api/v1/me?access_token={token}"):
            assert Client().get(path).status_code in {400, 401}
        sent = Client().post("/api/v1/dogs", json.dumps({"token": token}), "application/json")
        assert sent.status_code == 401


_HASHERS = """
import json
from django.conf import settings
print(json.dumps(settings.PASSWORD_HASHERS))
"""


class TestPasswords:
    def test_they_are_hashed_by_argon2id_with_todays_costs(self) -> None:
        # OWASP Password Storage Cheat Sheet: Argon2id with at least 19 MiB, 2 passes, 1 lane.
        parameters = Argon2PasswordHasher().params()

        assert parameters.type.name == "ID"
        assert parameters.memory_cost >= 19 * 1024
        assert parameters.time_cost >= 2

    def test_a_real_site_uses_it_first(self, tmp_path: Path) -> None:
        variables = environment(tmp_path)
        done = manage({**variables, "DJANGO_SETTINGS_MODULE": "registry.settings"}, code=_HASHERS)

        assert "Argon2" in json.loads(done.stdout)[0]


class TestLinesToOthers:
    def test_the_mail_servers_certificate_is_checked(self) -> None:
        context = EmailBackend(use_tls=True, ssl_certfile=None, ssl_keyfile=None).ssl_context

        assert context.verify_mode == ssl.CERT_REQUIRED
        assert context.check_hostname is True
        assert context.minimum_version >= ssl.TLSVersion.TLSv1_2

    def test_no_code_switches_the_look_at_certificates_off(self) -> None:
        for file in [*(ROOT / "registry").rglob("*.py"), *(ROOT / "api").rglob("*.py")]:
            text = file.read_text(encoding="utf-8")

            assert "CERT_NONE" not in text
            assert "_create_unverified_context" not in text
            assert "check_hostname = False" not in text
