"""A person's words can be found, put right and erased everywhere; results and proofs stay."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import OperationalError, connection

from registry.desk import decide, drafts, evidence, pedigree_files, people, personal, replay
from registry.desk.errors import Invalid, NotFound, Refused
from registry.desk.log import publish_checkpoint
from registry.desk.replay import Answer
from registry.ledger import triggers
from registry.ledger.verify import verify
from registry.models import Certificate, Evaluation, LedgerText, OutboxMail, Owner, Role, User
from registry.queries.personal import held_of_owner, held_of_user, owners_like
from registry.queries.public_log import inclusion_proof
from tests.factories import PASSWORD, Club, make_accepted, make_club, make_person, make_submitted

NAME, EMAIL = "Ottilie Žižkova-Reed", "ottilie.canary@owner.example"
OWNER = {"full_name": NAME, "email": EMAIL}


@pytest.fixture
def club() -> Club:
    return make_club()


def everywhere(club: Club) -> Certificate:
    """A certificate of a dog whose owner's words stand in every place there is."""
    file = evidence.attach(by=club.nurse.actor, chunks=[b"%PDF-1.7 film"], name=f"{NAME} Juno.pdf")
    certificate = make_accepted(club, owner=OWNER, evidence=[file.public_id])
    returned = make_submitted(club, owner=OWNER)
    decide.return_for_correction(
        by=club.registrar.actor,
        evaluation_id=returned.public_id,
        reason=f"{NAME} wrote that this is another dog",
    )
    draft = drafts.start_draft(by=club.nurse.actor, dog_id=certificate.evaluation.dog.public_id)
    drafts.save_draft(
        by=club.nurse.actor,
        draft_id=draft.public_id,
        version=draft.version,
        answers={"owner": OWNER},
    )
    replay.once(
        scope="token:1",
        key="k",
        route="POST /x",
        body_hash="h",
        deed=lambda: Answer(201, {"owner": OWNER}),
    )
    return certificate


def owner() -> Owner:
    return Owner.objects.get(full_name=NAME)


@pytest.mark.django_db
class TestWhatIsHeld:
    def test_every_place_is_named(self, club: Club) -> None:
        everywhere(club)

        kinds = {each.what for each in held_of_owner(owner())}

        assert kinds == {
            "owner", "result", "mail", "audit trail", "text of a result", "draft", "file name",
            "kept answer",
        }  # fmt: skip

    def test_an_owner_is_found_by_a_part_of_name_or_address(self, club: Club) -> None:
        everywhere(club)

        assert [found.full_name for found in owners_like("ottilie.canary@")] == [NAME]
        assert [found.full_name for found in owners_like("Reed")][-1:] == [NAME]
        assert owners_like(" ") == []

    def test_a_person_with_an_account_is_shown_with_roles(self, club: Club) -> None:
        held = held_of_user(club.registrar.user)

        assert {"account", "role", "audit trail"} <= {each.what for each in held}


@pytest.mark.django_db
class TestCorrecting:
    def test_the_old_words_are_beside_the_trail_and_not_in_it(self, club: Club) -> None:
        everywhere(club)
        personal.correct_owner(
            by=club.secretary.actor,
            owner_id=owner().public_id,
            full_name="Ottilie Reed",
            email=EMAIL,
            reason="she married",
        )

        assert Owner.objects.get(email=EMAIL).full_name == "Ottilie Reed"
        assert LedgerText.objects.filter(field="full_name.from", text=NAME).exists()
        assert verify().is_whole

    @pytest.mark.parametrize(
        ("field", "value"), [("full_name", " "), ("email", "no address"), ("reason", "")]
    )
    def test_bad_input_is_named_at_its_field(self, club: Club, field: str, value: str) -> None:
        everywhere(club)
        given = {"full_name": NAME, "email": EMAIL, "reason": "so", field: value}

        with pytest.raises(Invalid) as caught:
            personal.correct_owner(by=club.secretary.actor, owner_id=owner().public_id, **given)
        assert [problem.pointer for problem in caught.value.problems] == [f"/{field}"]


@pytest.mark.django_db
class TestErasing:
    def test_no_place_is_left_and_the_results_stay(self, club: Club) -> None:
        certificate = everywhere(club)
        found = owner()

        personal.erase_owner(by=club.secretary.actor, owner_id=found.public_id)

        found.refresh_from_db()
        assert {each.what for each in held_of_owner(found)} == {"owner", "result"}
        assert (found.full_name, found.email) == ("", "")
        assert Evaluation.objects.get(pk=certificate.evaluation_id).owner == found

    def test_no_row_of_any_table_has_the_words(self, club: Club) -> None:
        everywhere(club)

        personal.erase_owner(by=club.secretary.actor, owner_id=owner().public_id)

        assert tables_with("canary") == []
        assert tables_with("kova-Reed") == []

    def test_trail_tree_and_old_proofs_still_add_up(self, club: Club) -> None:
        everywhere(club)
        made = publish_checkpoint()
        assert made is not None
        before = inclusion_proof(5, made.size)

        personal.erase_owner(by=club.secretary.actor, owner_id=owner().public_id)

        assert verify().is_whole
        assert inclusion_proof(5, made.size) == before
        call_command("verify_records")

    def test_mail_that_waits_for_the_person_is_not_sent(self, club: Club) -> None:
        everywhere(club)
        assert OutboxMail.objects.filter(to_email=EMAIL).exists()

        personal.erase_owner(by=club.secretary.actor, owner_id=owner().public_id)

        assert not OutboxMail.objects.filter(to_email=EMAIL).exists()

    def test_a_commitment_cannot_be_guessed_again(self, club: Club) -> None:
        everywhere(club)
        personal.erase_owner(by=club.secretary.actor, owner_id=owner().public_id)

        blanked = LedgerText.objects.filter(erased_at__isnull=False)

        assert blanked.exists()
        assert {(text.salt, text.text) for text in blanked} == {("", "")}

    def test_the_words_of_before_a_correction_go_too(self, club: Club) -> None:
        everywhere(club)
        found = owner()
        personal.correct_owner(
            by=club.secretary.actor,
            owner_id=found.public_id,
            full_name="Hedda Ahlqvist",
            email="hedda@owner.example",
            reason="she married",
        )

        personal.erase_owner(by=club.secretary.actor, owner_id=found.public_id)

        assert [tables_with(text) for text in ("canary", "kova-Reed", "Ahlqvist", "hedda@")] == [
            []
        ] * 4
        assert verify().is_whole

    def test_words_in_other_letters_go_too(self, club: Club) -> None:
        everywhere(club)
        returned = make_submitted(club, owner=OWNER)
        decide.return_for_correction(
            by=club.registrar.actor,
            evaluation_id=returned.public_id,
            reason=f"Mrs {NAME.upper()} wrote; {NAME.lower()} it was",
        )

        personal.erase_owner(by=club.secretary.actor, owner_id=owner().public_id)

        assert tables_with("KOVA-REED") == []
        assert tables_with("kova-Reed") == []

    def test_a_name_of_three_letters_goes_where_it_stands_alone(self, club: Club) -> None:
        make_accepted(club, owner={"full_name": "Ova", "email": "ova@owner.example"})
        found = Owner.objects.get(full_name="Ova")
        draft = drafts.start_draft(by=club.nurse.actor)
        drafts.save_draft(
            by=club.nurse.actor,
            draft_id=draft.public_id,
            version=draft.version,
            answers={"owner": {"full_name": "Ova"}, "examiner": "Dr. Novak"},
        )
        personal.correct_owner(
            by=club.secretary.actor,
            owner_id=found.public_id,
            full_name="Ova Lind",
            email="ova@owner.example",
            reason="a part was missing",
        )

        personal.erase_owner(by=club.secretary.actor, owner_id=found.public_id)

        draft.refresh_from_db()
        assert draft.answers == {"owner": {"full_name": "…"}, "examiner": "Dr. Novak"}
        assert tables_with("'Ova'") == []

    def test_a_second_time_there_is_nobody(self, club: Club) -> None:
        everywhere(club)
        found = owner()
        personal.erase_owner(by=club.secretary.actor, owner_id=found.public_id)

        with pytest.raises(NotFound):
            personal.erase_owner(by=club.secretary.actor, owner_id=found.public_id)

    def test_a_namesake_keeps_the_record(self, club: Club) -> None:
        everywhere(club)
        make_accepted(club, owner={"full_name": "Otto Reed", "email": "otto@owner.example"})

        personal.erase_owner(by=club.secretary.actor, owner_id=owner().public_id)

        assert Owner.objects.filter(full_name="Otto Reed", email="otto@owner.example").exists()

    @pytest.mark.parametrize("who", ["registrar", "nurse"])
    def test_only_the_secretary_may(self, club: Club, who: str) -> None:
        everywhere(club)

        with pytest.raises(Refused):
            personal.erase_owner(by=getattr(club, who).actor, owner_id=owner().public_id)


@pytest.mark.django_db
class TestErasingAnAccount:
    def test_the_person_is_gone_and_the_deeds_stay(self, club: Club) -> None:
        leaver = make_person(Role.REGISTRAR, by=club.secretary.actor, name="Rudolf Kanarienvogel")
        certificate = make_accepted(club)
        Evaluation.objects.update(decided_by=leaver.user)

        personal.erase_user(by=club.secretary.actor, user_id=leaver.user.pk)

        user = User.objects.get(pk=leaver.user.pk)
        assert (user.full_name, user.email, user.is_active) == ("", "", False)
        assert not user.has_usable_password()
        assert tables_with("Kanarienvogel") == []
        certificate.evaluation.refresh_from_db()
        assert certificate.evaluation.decided_by == user
        assert verify().is_whole

    def test_a_login_of_three_letters_goes_too(self, club: Club) -> None:
        leaver = people.open_account(
            by=club.secretary.actor,
            login="kaz",
            full_name="Kazimir Kanarienvogel",
            email="kk@club.example",
            password=PASSWORD,
        )

        personal.erase_user(by=club.secretary.actor, user_id=leaver.pk)

        assert tables_with("'kaz'") == []

    def test_names_of_tokens_and_of_pedigree_files_lose_the_words(self, club: Club) -> None:
        leaver = make_person(Role.REGISTRAR, by=club.secretary.actor, name="Rudolf Kanarienvogel")
        people.issue_token(
            by=club.secretary.actor,
            membership_id=leaver.membership.pk,
            name="Rudolf Kanarienvogel's desk",
            scopes=["dogs:read"],
            days=30,
        )
        pedigree_files.keep_file(
            by=club.registrar.actor,
            name="Rudolf Kanarienvogel.csv",
            content=b"name,sex,born_on\nJuno,F,2024-05-05\n",
        )
        held = {each.what for each in held_of_user(leaver.user)}

        personal.erase_user(by=club.secretary.actor, user_id=leaver.user.pk)

        assert {"token", "file name"} <= held
        assert tables_with("Kanarienvogel") == []

    def test_nobody_erases_themselves(self, club: Club) -> None:
        with pytest.raises(Refused, match="Another secretary"):
            personal.erase_user(by=club.secretary.actor, user_id=club.secretary.user.pk)

    def test_an_examiner_who_has_an_account_is_blanked_in_results(self, club: Club) -> None:
        vet = make_person(
            Role.CLINIC, by=club.secretary.actor, clinic=club.clinic, name="Vera Kanarienvogel"
        )
        make_accepted(club, examiner="Dr. Vera Kanarienvogel")

        personal.erase_user(by=club.secretary.actor, user_id=vet.user.pk)

        assert Evaluation.objects.get().examiner == "Dr. …"


@pytest.mark.django_db(transaction=True)
def test_an_erasure_stands_when_the_database_cannot_tidy_up(
    club: Club, caplog: pytest.LogCaptureFixture
) -> None:
    everywhere(club)

    def refuse(execute: Any, sql: str, *rest: Any) -> Any:
        if sql.startswith(("VACUUM", "PRAGMA wal_checkpoint")):
            raise OperationalError("busy")
        return execute(sql, *rest)

    with connection.execute_wrapper(refuse):
        personal.erase_owner(by=club.secretary.actor, owner_id=owner().public_id)

    assert not Owner.objects.filter(full_name=NAME).exists()
    assert "until its next vacuum" in caplog.text


@pytest.mark.django_db(transaction=True)
def test_the_words_are_in_no_file_of_the_database(club: Club) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("needs SQLite: the server's files are not ours to read")
    everywhere(club)
    folder = Path(connection.settings_dict["NAME"]).parent

    personal.erase_owner(by=club.secretary.actor, owner_id=owner().public_id)
    connection.close()

    with_words = [
        file.name
        for file in folder.rglob("*")
        if file.is_file() and (b"canary" in file.read_bytes() or b"kova-Reed" in file.read_bytes())
    ]
    assert with_words == []
    triggers.uninstall(connection)


def tables_with(text: str) -> list[str]:
    """The tables in one of whose rows the text stands, escaped or not."""
    found = []
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f'SELECT * FROM "{table}"')
            if any(text in str(row) for row in cursor.fetchall()):
                found.append(table)
    return found
