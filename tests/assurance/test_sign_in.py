"""What the standard asks of signing in and no room's own test says: passwords as typed, secrets of
second steps, lines in the log, and a browser that forgets."""

from __future__ import annotations

import re

import pytest
from allauth.mfa.adapter import get_adapter
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import generate_totp_secret
from cryptography.fernet import InvalidToken
from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.cache import cache
from django.test import Client

from registry.desk import sign_in as desk
from tests.assurance.source import ROOT
from tests.factories import PASSWORD, Club, make_club
from tests.signing_in import sign_in

pytestmark = pytest.mark.django_db

TEXT = (ROOT / "deploy" / "security.md").read_text(encoding="utf-8")


@pytest.fixture
def club() -> Club:
    cache.clear()
    return make_club()


def opens(club: Club, password: str) -> bool:
    """Whether the password signs the nurse in."""
    cache.clear()
    client = Client()
    client.post("/sign-in/", {"login": club.nurse.login, "password": password})
    return client.get("/clinic/").status_code == 200


class TestPasswords:
    @pytest.mark.parametrize(
        "password",
        [
            "Wet boots, warm stove; three dogs",
            "  spaces before and behind stay  ",
            "ünsere Hündin heißt Föhn 犬",
            "a" + "quiet-valley-of-hounds-" * 5 + "b",
        ],
        ids=["capitals", "spaces", "letters of any script", "117 signs"],
    )
    def test_they_are_checked_as_typed(self, club: Club, password: str) -> None:
        desk.give_password(user_id=club.nurse.user.pk, password=password)

        assert opens(club, password)
        assert not opens(club, password.swapcase())
        assert not opens(club, password.strip()[:-1])
        assert password == password.strip() or not opens(club, password.strip())

    def test_nothing_makes_one_change_it(self) -> None:
        user = get_user_model()

        assert not [field.name for field in user._meta.get_fields() if "expir" in field.name]
        assert settings.AUTH_PASSWORD_VALIDATORS
        names = [each["NAME"].split(".")[-1] for each in settings.AUTH_PASSWORD_VALIDATORS]
        assert not [name for name in names if re.search("Numeric|Upper|Symbol|Composition", name)]

    def test_their_boxes_hide_them_and_let_a_password_manager_in(self, club: Club) -> None:
        page = Client().get("/sign-in/").content.decode()

        (box,) = re.findall(r'<input[^>]*name="password"[^>]*>', page)
        assert 'type="password"' in box
        assert 'autocomplete="current-password"' in box
        assert "maxlength" not in box


class TestSecondSteps:
    def test_keys_and_codes_are_random(self, club: Club) -> None:
        keys = {generate_totp_secret() for _ in range(200)}
        seeds = {RecoveryCodes.generate_seed() for _ in range(200)}
        codes = desk.give_second_step(user_id=club.nurse.user.pk).codes

        # RFC 4226 section 4 asks for 128 bits at least and advises 160: 32 letters of base32.
        assert {len(key) for key in keys} == {32}
        assert len(keys) == len(seeds) == 200
        assert {len(seed) for seed in seeds} == {80}
        # Eight digits each: 26.6 bits, where the standard asks for 20.
        assert len(set(codes)) == len(codes) >= 8
        assert all(re.fullmatch(r"\d{8}", code) for code in codes)

    def test_a_session_gets_a_new_key_when_its_person_signs_in(self, club: Club) -> None:
        client = Client()
        planted = client.session
        planted["planted"] = True
        planted.save()
        client.cookies["session"] = planted.session_key or ""

        sign_in(client, club.registrar)

        assert client.session.session_key != planted.session_key
        assert not planted.exists(planted.session_key or "")


class TestLines:
    def test_a_sign_in_and_a_failed_one_are_noted(
        self, club: Club, caplog: pytest.LogCaptureFixture
    ) -> None:
        with caplog.at_level("INFO"):
            Client().post("/sign-in/", {"login": club.nurse.login, "password": "no such one"})
            sign_in(Client(), club.nurse)
            sign_in(Client(), club.registrar)

        said = [each.getMessage() for each in caplog.records]
        assert any("sign-in failed" in line for line in said)
        assert f"signed in: {club.nurse.user.subject_id}, by password" in said
        assert f"signed in: {club.registrar.user.subject_id}, by password and totp" in said
        assert "no such one" not in caplog.text
        assert PASSWORD not in caplog.text
        assert club.nurse.login not in caplog.text


class TestSigningOut:
    def test_the_browser_is_told_to_forget(self, club: Club) -> None:
        client = Client()
        sign_in(client, club.nurse)

        answer = client.post("/sign-out/")

        assert answer["Clear-Site-Data"] == '"cache", "storage"'
        assert client.get("/clinic/").status_code == 302

    def test_no_other_answer_clears_anything(self, club: Club) -> None:
        client = Client()
        sign_in(client, club.nurse)

        for path in ("/", "/clinic/", "/sign-in/"):
            assert "Clear-Site-Data" not in client.get(path)


class TestEncryption:
    def test_what_was_changed_does_not_open(self) -> None:
        box = get_adapter()
        kept = box.encrypt("a secret of an app")
        opened = box.decrypt(kept)

        for place in range(0, len(kept) - 2, 7):
            other = "A" if kept[place] != "A" else "B"
            with pytest.raises(InvalidToken):
                box.decrypt(f"{kept[:place]}{other}{kept[place + 1 :]}")

        assert opened == "a secret of an app"
        assert "secret" not in kept
        assert box.encrypt("a secret of an app") != kept


class TestDocument:
    """The numbers of "Signing in" in deploy/security.md are those of the settings."""

    def test_counts_of_tries(self) -> None:
        limits = settings.ACCOUNT_RATE_LIMITS

        assert limits["login_failed"] == "30/m/ip,5/5m/key,90/30d/key"
        assert limits["login"] == "60/m/ip"
        assert limits["reset_password"] == "20/h/ip,3/h/key"
        assert "5 in 5 minutes and 90 in 30 days for an account, 30 a minute for an add" in TEXT
        assert "60 sign-ins a minute for an address" in TEXT
        assert "3 times an hour for an account and 20 times for an address" in TEXT

    def test_lives_of_sessions_proofs_and_links(self) -> None:
        assert f"left alone for {settings.IDLE_SECONDS // 60} minutes" in TEXT
        assert f"after {settings.SESSION_COOKIE_AGE // 3600} hours the session ends" in TEXT
        proof = settings.ACCOUNT_REAUTHENTICATION_TIMEOUT // 60
        assert f"asks for a proof not older than {proof} minutes" in TEXT
        assert f"ends after {settings.PASSWORD_RESET_TIMEOUT // 3600} hours" in TEXT

    def test_the_shortest_password(self) -> None:
        (shortest,) = [
            each["OPTIONS"]["min_length"]
            for each in settings.AUTH_PASSWORD_VALIDATORS
            if "MinimumLength" in each["NAME"]
        ]

        assert f"Passwords: {shortest} characters or more" in TEXT
