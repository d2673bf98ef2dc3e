"""A small invented club, sent through the desk: ledger, counts, planted problems."""

import json
from datetime import date, timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone

from registry import clock
from registry.demo import load as loading
from registry.demo.cases import invent_club
from registry.demo.load import is_there, load
from registry.demo.progress import Progress, Silent
from registry.demo.words import read_words
from registry.desk.distributions import compare_distributions
from registry.desk.people import digest_of
from registry.desk.verification import verify_records
from registry.ledger.verify import verify
from registry.models import (
    Announcement,
    ApiToken,
    Breed,
    BreedingRun,
    Certificate,
    CountedValue,
    Dog,
    Evaluation,
    LedgerEntry,
    LogCheckpoint,
    Membership,
    OutboxMail,
    Role,
    RunState,
    SecondDeed,
    SecondLook,
    State,
    Trait,
    User,
)
from registry.queries.distributions import distribution
from tests.factories import make_club

SIZE = 170


@pytest.fixture(autouse=True)
def _own_folders(tmp_path: Path, settings: Any) -> None:
    settings.VAR_DIR = tmp_path
    settings.EVIDENCE_ROOT = tmp_path / "evidence"


def run(**options: Any) -> str:
    out = StringIO()
    call_command("demo", stdout=out, dogs=SIZE, **options)
    return out.getvalue()


@pytest.mark.django_db
class TestTheWholeClub:
    def test_it_is_whole_counted_right_and_found_again(self, tmp_path: Path) -> None:
        told = run()
        words = read_words(settings.BASE_DIR / "fixtures" / "demo.json")
        club = invent_club(words, today=timezone.localdate(), size=SIZE, seed=words.seed)
        access = json.loads((tmp_path / "demo.json").read_text("utf-8"))

        assert verify().is_whole
        sealed = list(LogCheckpoint.objects.order_by("size"))
        assert sealed[-1].size == LedgerEntry.objects.count()
        assert len({each.made_at.year for each in sealed}) >= words.years_of_results
        self.the_years_have_passed()
        assert verify_records().damages == ()
        rebuilt = compare_distributions()
        assert rebuilt.cells > 0
        assert rebuilt.agrees
        assert Dog.objects.count() == len(club.dogs)
        assert Evaluation.objects.filter(state=State.ACCEPTED).count() > 0
        assert {state for (state,) in Evaluation.objects.values_list("state")} == set(State.values)
        self.every_planted_problem_is_flagged(club)
        self.everybody_can_sign_in(access)
        assert (tmp_path / "demo.json").stat().st_mode & 0o077 == 0
        assert all(user["password"] in told for user in access["users"])
        self.every_breed_has_a_breeding_run_and_a_page_shows_one(access["breeder_page"])

        entries = LedgerEntry.objects.count()
        again = run()

        assert "kept" in again
        assert LedgerEntry.objects.count() == entries
        assert json.loads((tmp_path / "demo.json").read_text("utf-8")) == access
        self.every_sight_can_be_seen(told)
        self.the_readmes_request_is_taken(told, access)

    def every_sight_can_be_seen(self, told: str) -> None:
        lines = told.partition("Worth a look:\n")[2].strip().splitlines()
        sights = [line.strip().removeprefix(settings.SITE_URL).split("  ") for line in lines]
        assert len(sights) >= 8
        for path, why in sights:
            response = Client().get(path)
            assert response.status_code == 200, why
            if "some years ago" in why:
                text = response.content.decode()
                assert "When issued" in text
                assert str((timezone.localdate() - timedelta(days=4 * 365)).year) in text

    def the_years_have_passed(self) -> None:
        entries = list(LedgerEntry.objects.order_by("seq").values_list("at", flat=True))
        assert entries == sorted(entries)
        assert entries[-1] <= timezone.now()
        issued = Certificate.objects.values_list("issued_at", flat=True)
        assert len({at.year for at in issued}) >= 8
        certified = Certificate.objects.select_related("evaluation")
        waits = [each.issued_at - each.evaluation.submitted_at for each in certified]
        assert min(waits) >= timedelta(0)
        assert sorted(waits)[len(waits) // 2] > timedelta(days=2)
        changed = CountedValue.objects.exclude(counted_until=None)
        assert changed.filter(counted_until__lt=timezone.now() - timedelta(days=400)).exists()
        assert not OutboxMail.objects.filter(sent_at=None).exists()
        assert Evaluation.objects.exclude(consent_changed_at=None).exists()
        assert Announcement.objects.exclude(withdrawn_at=None).exists()
        assert {look.deed for look in SecondLook.objects.exclude(settled_at=None)} == {
            SecondDeed.REVOKE,
            SecondDeed.ACCEPT,
        }
        for breed in Breed.objects.all():
            asked = BreedingRun.objects.filter(breed=breed).order_by("number")
            times = [run.finished_at for run in asked if run.finished_at is not None]
            assert times == sorted(times)
            assert len({at.year for at in times}) >= 9
            self.the_past_is_another(breed)

    def the_past_is_another(self, breed: Breed) -> None:
        trait = Trait.objects.get(slug="hip-laxity")
        before = timezone.now() - timedelta(days=1500)
        then = distribution(breed=breed, trait=trait, as_of=before)
        now = distribution(breed=breed, trait=trait)
        assert then.histogram != now.histogram

    def the_readmes_request_is_taken(self, told: str, access: dict[str, Any]) -> None:
        readme = (settings.BASE_DIR / "README.md").read_text("utf-8")
        body = readme.partition("/api/v1/evaluations -d '")[2].partition("}'")[0] + "}"
        chip = told.partition("to send one for: ")[2][:15]
        (token,) = (each["token"] for each in access["tokens"] if each["role"] == "clinic")

        sent = Client().post(
            "/api/v1/evaluations",
            body.replace("'$CHIP'", chip),
            content_type="application/json",
            headers={"Authorization": f"Bearer {token}", "Idempotency-Key": "1"},
        )

        assert sent.status_code == 201, sent.content

    def every_planted_problem_is_flagged(self, club: Any) -> None:
        planted = {exam.case for exam in club.exams if exam.case}
        waiting = Evaluation.objects.filter(state=State.SUBMITTED)
        found = set(waiting.values_list("flags__code", flat=True))
        assert planted - found == set()

    def every_breed_has_a_breeding_run_and_a_page_shows_one(self, page: str) -> None:
        runs = BreedingRun.objects.all()
        assert {run.state for run in runs} == {RunState.DONE}
        assert {run.error for run in runs} == {""}
        assert {run.breed_id for run in runs} == set(Breed.objects.values_list("pk", flat=True))
        assert Client().get(page).status_code == 200

    def everybody_can_sign_in(self, access: dict[str, Any]) -> None:
        roles = {user["role"] for user in access["users"]}
        assert roles == {"secretary", "registrar", "clinic"}
        for user in access["users"]:
            assert User.objects.get(username=user["login"]).check_password(user["password"])
        assert sorted(token["role"] for token in access["tokens"]) == ["clinic", "registrar"]


@pytest.mark.django_db
class TestSafety:
    def test_it_leaves_a_database_alone_that_others_use(self) -> None:
        make_club()

        with pytest.raises(CommandError, match="Nothing was changed"):
            run()

    def test_it_refuses_a_real_club(self, settings: Any) -> None:
        settings.IS_PRODUCTION = True

        with pytest.raises(CommandError, match="never"):
            run()

    def test_a_run_that_is_cut_short_leaves_nothing(
        self, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
    ) -> None:
        words = read_words(settings.BASE_DIR / "fixtures" / "demo.json")
        club = invent_club(words, today=date.today(), size=SIZE, seed=words.seed)  # noqa: DTZ011

        def stop(*args: object, **kwargs: object) -> None:
            raise KeyboardInterrupt

        monkeypatch.setattr(loading, "issue_tokens", stop)
        with pytest.raises(KeyboardInterrupt):
            load(club, Progress(Silent()))

        assert not is_there(words)
        assert LedgerEntry.objects.count() == 0
        assert list((tmp_path / "evidence").iterdir()) == []
        assert abs(clock.now() - timezone.now()) < timedelta(seconds=5)


@pytest.mark.django_db
class TestFirstSecretary:
    FACTS = {
        "SOUNDLINE_SECRETARY_LOGIN": "hollis",
        "SOUNDLINE_SECRETARY_NAME": "Hollis Umberfold",
        "SOUNDLINE_SECRETARY_EMAIL": "hollis@club.example",
        "SOUNDLINE_SECRETARY_PASSWORD": "a lantern over 9 tarns",
    }

    def opened(self, monkeypatch: pytest.MonkeyPatch, **changes: str) -> str:
        monkeypatch.setattr("sys.stdin", StringIO())
        for name, value in {**self.FACTS, **changes}.items():
            monkeypatch.setenv(name, value)
        out = StringIO()
        call_command("first_secretary", stdout=out)
        return out.getvalue()

    def test_it_opens_the_account_with_its_role(self, monkeypatch: pytest.MonkeyPatch) -> None:
        told = self.opened(monkeypatch)

        assert Membership.objects.get(user__username="hollis").role == Role.SECRETARY
        assert "3 measured traits were added" in told
        assert "Hip grade, extended view (A, B, C, D, E); Elbow grade (0, 1, 2, 3)" in told
        assert "/sign-in/" in told

    def test_it_refuses_a_second_first_secretary(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.opened(monkeypatch)

        with pytest.raises(CommandError, match="already"):
            self.opened(monkeypatch, SOUNDLINE_SECRETARY_LOGIN="second")

    def test_it_names_a_weak_password_and_opens_nothing(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        with pytest.raises(CommandError, match="password"):
            self.opened(monkeypatch, SOUNDLINE_SECRETARY_PASSWORD="short")

        assert not User.objects.exists()


@pytest.mark.django_db
def test_a_lost_file_is_named_and_new_passwords_end_the_old_ones(tmp_path: Path) -> None:
    run()
    file = tmp_path / "demo.json"
    before = json.loads(file.read_text("utf-8"))
    file.unlink()

    assert "demo --new-passwords" in run()
    run(new_passwords=True)

    after = json.loads(file.read_text("utf-8"))
    for old, new in zip(before["users"], after["users"], strict=True):
        user = User.objects.get(username=new["login"])
        assert user.check_password(new["password"])
        assert not user.check_password(old["password"])
    working = ApiToken.objects.filter(revoked_at__isnull=True).values_list("digest", flat=True)
    assert {digest_of(token["token"]) for token in after["tokens"]} == set(working)
