"""A pedigree's file: every fault is said with its row, sound rows become dogs, a second run does
nothing."""

from __future__ import annotations

import json
from datetime import date
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from registry.desk import merge
from registry.desk.dogs import DogFacts, correct_dog
from registry.desk.errors import Conflict, Invalid, NotFound, Refused
from registry.desk.pedigree_files import import_file, keep_file, look_through
from registry.desk.pedigree_import import Report, check, commit
from registry.models import Dog, LedgerEntry, PedigreeFile
from tests.factories import Club, make_breed, make_chip, make_club, make_dog

pytestmark = pytest.mark.django_db
HEAD = "key;name;sex;born_on;chip;studbook_number;sire;dam\n"
FAMILY = HEAD + (
    "k3;Tarnfold Pup;F;2023-01-15;;;k1;S 2\n"
    "k1;Tarnfold Sire;M;2018-01-01;;;;\n"
    ";Tarnfold Dam;F;1.2.2018;;S 2;;\n"
)


@pytest.fixture
def club() -> Club:
    return make_club()


def checked(club: Club, text: str | bytes) -> Report:
    content = text if isinstance(text, bytes) else text.encode()
    return check(by=club.secretary.actor, content=content)


def committed(club: Club, text: str) -> Report:
    return commit(by=club.secretary.actor, content=text.encode())


def said(report: Report) -> list[tuple[int, str]]:
    return [(fault.row, fault.column) for fault in report.faults]


def one_fault(club: Club, text: str | bytes, row: int, column: str, words: str) -> None:
    report = checked(club, text)
    assert said(report) == [(row, column)]
    assert words in report.faults[0].message


def no_file(club: Club, content: str | bytes, words: str) -> None:
    with pytest.raises(Invalid, match=words) as refusal:
        checked(club, content)
    assert refusal.value.problems[0].pointer == "/file"


class TestCommit:
    def test_parents_may_stand_below_their_young(self, club: Club) -> None:
        report = committed(club, FAMILY)

        pup = Dog.objects.get(name="Tarnfold Pup")
        assert (pup.sire.name, pup.dam.name) == ("Tarnfold Sire", "Tarnfold Dam")  # type: ignore[union-attr]
        assert pup.dam is not None
        assert pup.dam.born_on == date(2018, 2, 1)
        assert report.new == (2, 3, 4)

    def test_the_same_file_again_makes_nothing(self, club: Club) -> None:
        committed(club, FAMILY)
        entries = LedgerEntry.objects.count()

        report = committed(club, FAMILY)

        assert (report.new, report.filled, report.same) == ((), (), (2, 3, 4))
        assert Dog.objects.count() == 3
        assert LedgerEntry.objects.count() == entries

    def test_a_dry_run_writes_nothing(self, club: Club) -> None:
        entries = LedgerEntry.objects.count()

        report = checked(club, FAMILY)

        assert report.new == (2, 3, 4)
        assert (Dog.objects.count(), LedgerEntry.objects.count()) == (0, entries)

    def test_each_dog_has_its_entry_with_file_and_row_and_the_file_has_one(
        self, club: Club
    ) -> None:
        report = committed(club, FAMILY)

        entries = list(LedgerEntry.objects.order_by("-seq")[:4])
        values = [json.loads(entry.body)["values"] for entry in entries]
        assert [entry.action for entry in entries] == ["pedigree.imported"] + 3 * ["dog.registered"]
        assert values[0]["registered"]["to"] == "2-4"
        assert values[0]["file"]["to"] == report.sha256
        assert sorted(each["import_row"]["to"] for each in values[1:]) == [2, 3, 4]
        assert {each["import_file"]["to"] for each in values[1:]} == {report.sha256}

    def test_what_the_register_does_not_say_is_filled_in(self, club: Club) -> None:
        dog = make_dog(club, name="Tarnfold Pup", chip="", colour="")
        text = (
            "name,sex,born_on,chip,colour,sire\n"
            f"Tarnfold Pup,F,2023-01-15,276098106234567,brown,{make_sire(club).chip}\n"
        )

        report = committed(club, text)

        dog.refresh_from_db()
        assert (report.new, report.filled) == ((), (2,))
        assert (dog.chip, dog.colour, dog.version) == ("276098106234567", "brown", 2)
        assert dog.sire is not None
        assert LedgerEntry.objects.filter(action="dog.corrected").count() == 1

    def test_the_registers_word_is_not_overwritten(self, club: Club) -> None:
        dog = make_dog(club, colour="brown")
        text = f"name,sex,born_on,chip,colour\n{dog.name},F,2023-01-15,{dog.chip},liver\n"

        report = committed(club, text)

        dog.refresh_from_db()
        assert dog.colour == "brown"
        assert [(each.row, each.column, each.message) for each in report.differences] == [
            (2, "colour", "brown")
        ]

    def test_sound_rows_go_in_and_the_others_are_kept_for_the_file_of_faults(
        self, club: Club
    ) -> None:
        text = FAMILY + "k9;Tarnfold Slip;X;2023-01-15;;;k1;\n"

        report = committed(club, text)

        assert [row.number for row in report.bad] == [5]
        assert [row.number for row in report.named_by_bad] == [3]
        assert Dog.objects.count() == 3

    def test_only_registrars_and_secretaries_may(self, club: Club) -> None:
        for deed in (check, commit):
            deed(by=club.registrar.actor, content=FAMILY.encode())
            with pytest.raises(Refused):
                deed(by=club.nurse.actor, content=FAMILY.encode())


def make_sire(club: Club) -> Dog:
    return make_dog(club, name="Fellgate Otto", sex="M", born_on=date(2018, 1, 1))


class TestRows:
    @pytest.mark.parametrize(
        ("row", "column", "words"),
        [
            (";;F;2023-01-15;;;;", "name", "registered name"),
            (";A;X;2023-01-15;;;;", "sex", "female (F) or male (M)"),
            (";A;F;2/10/2023;;;;", "born_on", "day.month.year"),
            (";A;F;31.2.2023;;;;", "born_on", "not in the calendar"),
            (";A;F;;;;;", "born_on", "day of birth"),
            (";A;F;2023-01-15;9.81E+14;;;", "chip", "spreadsheet has rounded"),
            (";A;F;2023-01-15;9,81E+14;;;", "chip", "spreadsheet has rounded"),
            (";A;F;2023-01-15;;;9.81E+14;", "sire", "spreadsheet has rounded"),
            (";A;F;2023-01-15;;;nobody;", "sire", "Neither this file nor the register"),
            (";A;F;2023-01-15;;;;;;extra", "", "more boxes than the head"),
            ("k;A;F;2023-01-15;;;k;", "sire", "its own ancestor"),
        ],
    )
    def test_a_fault_is_said_at_its_row_and_column(
        self, club: Club, row: str, column: str, words: str
    ) -> None:
        one_fault(club, HEAD + row + "\n", 2, column, words)

    def test_names_that_mean_nothing_to_a_spreadsheet_are_kept(self, club: Club) -> None:
        committed(club, HEAD + "".join(f";{name};F;2023-01-15;;;;\n" for name in NAMES))

        assert set(Dog.objects.values_list("name", flat=True)) == set(NAMES)

    def test_a_chip_keeps_its_zero_in_front(self, club: Club) -> None:
        committed(club, HEAD + ";A;F;2023-01-15;040098106234567;;;\n")

        assert Dog.objects.get().chip == "040098106234567"

    def test_a_loop_is_named_with_its_rows(self, club: Club) -> None:
        text = HEAD + (
            "a;A;F;2018-01-01;;;;c\n"
            "b;B;F;2018-01-01;;;;a\n"
            "c;C;F;2018-01-01;;;;b\n"
            "d;D;F;2023-01-01;;;;a\n"
        )

        report = checked(club, text)

        loops = [fault for fault in report.faults if "own ancestor: 2, 3, 4" in fault.message]
        assert [fault.row for fault in loops] == [2, 3, 4]
        assert [row.number for row in report.bad] == [2, 3, 4, 5]

    def test_a_loop_through_the_register_is_found(self, club: Club) -> None:
        top = make_dog(club, name="Top", chip="", born_on=date(2010, 1, 1))
        low = make_dog(club, born_on=date(2015, 1, 1), dam=top.public_id)
        text = "name,sex,born_on,dam\n" + f"Top,F,2010-01-01,{low.chip}\n"

        report = checked(club, text)

        assert "its own ancestor" in report.faults[0].message

    def test_the_rules_of_one_dog_hold_for_a_row(self, club: Club) -> None:
        sire = make_sire(club)
        other = make_dog(club, sex="M")
        dead = make_dog(club, born_on=date(2018, 1, 1), died_on=date(2020, 1, 1))
        rows = (
            f";A;F;2023-01-15;;;{dead.chip};\n"
            f";B;F;2023-01-15;;;;{dead.chip}\n"
            f";C;F;2018-02-15;;;{sire.chip};\n"
            f";D;F;2023-01-15;{other.chip};;;\n"
        )

        report = checked(club, HEAD + rows)

        words = {fault.row: fault.message for fault in report.faults}
        assert "is not male" in words[2]
        assert "died on" in words[3]
        assert "too young" in words[4]
        assert "In the register this is Tarnfold Juno" in words[5]

    def test_two_litters_too_close_in_file_or_register(self, club: Club) -> None:
        dam = make_dog(club, born_on=date(2018, 1, 1))
        make_dog(club, dam=dam.public_id, born_on=date(2021, 1, 1))
        rows = (
            f";A;F;2021-02-01;;;;{dam.chip}\n"
            f";B;F;2023-01-15;;;;{dam.chip}\n"
            f";C;F;2023-02-15;;;;{dam.chip}\n"
            f";D;F;2022-01-01;;;;{dam.chip}\n"
        )

        report = checked(club, HEAD + rows)

        assert said(report) == [(2, "dam"), (3, "dam"), (4, "dam")]

    @pytest.mark.parametrize(
        ("second", "column"),
        [
            ("x;B;F;2022-01-15;276098106234567;;;", "chip"),
            ("k;B;F;2022-01-15;;;;", "key"),
            (";B;F;2022-01-15;;S 1;;", "studbook_number"),
            (";A;F;2023-01-15;;;;", "name"),
        ],
    )
    def test_one_dog_in_two_rows(self, club: Club, second: str, column: str) -> None:
        text = HEAD + f"k;A;F;2023-01-15;276 098 106 234 567;S 1;;\n{second}\n"

        one_fault(club, text, 3, column, "Row 2 says the same")

    def test_a_breed_is_named_where_there_are_several(self, club: Club) -> None:
        other = make_breed()
        text = "name,sex,born_on,breed\nA,F,2023-01-15,\n" + f"B,F,2023-01-15,{other.name}\n"

        one_fault(club, text, 2, "breed", "Choose a breed")

    def test_a_merged_entrys_chip_is_the_kept_dog(self, club: Club) -> None:
        keep, drop = make_dog(club, name="Kept"), make_dog(club)
        merge.merge_dogs(
            by=club.registrar.actor,
            keep=keep.public_id,
            drop=drop.public_id,
            versions=None,
            reason="entered twice",
            confirmed=(merge.CHIPS,),
        )

        report = checked(club, HEAD + f";Kept;F;2023-01-15;{drop.chip};;;\n")

        assert (report.same, report.differences) == ((2,), ())


NAMES = ("NA", "None", "null", "nan", "TRUE", "1e5", "00123", "=Bella", "Ümläut «Žofka»")


class TestFile:
    def test_a_byte_order_mark_and_commas(self, club: Club) -> None:
        report = checked(club, b"\xef\xbb\xbf" + b"Name,Sex,Born on\nA,F,2023-01-15\n")

        assert report.new == (2,)

    def test_windows_letters_are_read_and_shown_for_a_look(self, club: Club) -> None:
        report = checked(club, "name;sex;born_on\nMüsli;F;2023-01-15\n".encode("cp1252"))

        assert report.new == (2,)
        assert "Windows-1252" in report.notes[0]
        assert "Müsli" in report.notes[0]

    def test_columns_nobody_reads_are_named(self, club: Club) -> None:
        report = checked(club, "name;sex;born_on;Owner\nA;F;2023-01-15;R. Reed\n")

        assert report.notes == ("These columns are not read: Owner.",)

    def test_rows_are_counted_as_a_spreadsheet_does(self, club: Club) -> None:
        one_fault(club, 'name;sex;born_on\n"A\nB";F;2023-01-15\n\nC;X;2023-01-15\n', 4, "sex", "F")

    def test_an_apostrophe_that_guards_a_formula_is_taken_off(self, club: Club) -> None:
        committed(club, "name;sex;born_on\n'=Bella;F;2023-01-15\n")

        assert Dog.objects.get().name == "=Bella"

    @pytest.mark.parametrize(
        ("content", "words"),
        [
            ("", "name the columns"),
            ("name;sex\nA;F\n", "born_on is missing"),
            ("name;name;sex;born_on\n", "there twice"),
            ("name;sex;born_on\n", "no row below"),
            ("name;sex;born_on\nA\x00;F;2023-01-15\n", "NUL"),
            (b"PK\x03\x04rest", "spreadsheet's own file"),
            (b"name;sex;born_on\n\x81\x8d;F;2023-01-15\n", "letters of this file"),
            ("name;sex;born_on\n" + "x" * 140_000 + ";F;2023-01-15\n", "taken apart"),
            (b"x" * (10 * 1024 * 1024 + 1), "larger than 10 MB"),
            ("name;sex;born_on\n" + "A;F;2023-01-15\n" * 20_001, "20,000 rows"),
        ],
    )
    def test_a_file_that_cannot_be_read_says_why(
        self, club: Club, content: str | bytes, words: str
    ) -> None:
        no_file(club, content, words)


class TestKeptFile:
    def test_it_is_imported_once_and_its_content_goes(self, club: Club) -> None:
        by = club.secretary.actor
        file = keep_file(by=by, name="pedigree.csv", content=FAMILY.encode())

        assert import_file(by=by, file_id=file.public_id).new == (2, 3, 4)

        file.refresh_from_db()
        assert bytes(file.content) == b""
        assert look_through(by=by, file_id=file.public_id)[1] is None
        with pytest.raises(Conflict, match="imported already"):
            import_file(by=by, file_id=file.public_id)

    def test_it_is_its_senders_own(self, club: Club) -> None:
        file = keep_file(by=club.secretary.actor, name="a.csv", content=FAMILY.encode())

        with pytest.raises(NotFound):
            import_file(by=club.registrar.actor, file_id=file.public_id)

    def test_an_unreadable_one_is_not_kept(self, club: Club) -> None:
        with pytest.raises(Invalid):
            keep_file(by=club.secretary.actor, name="a.csv", content=b"nothing")

        assert not PedigreeFile.objects.exists()


def test_a_row_is_checked_again_when_it_is_imported(club: Club) -> None:
    by = club.secretary.actor
    dam = make_dog(club, born_on=date(2018, 1, 1))
    text = f"name,sex,born_on,dam\nA,F,2023-01-15,{dam.chip}\n"
    file = keep_file(by=by, name="a.csv", content=text.encode())
    facts: dict[str, Any] = {"breed": club.breed.slug, "name": dam.name, "sex": "F"}
    correct_dog(
        by=by,
        dog_id=dam.public_id,
        version=1,
        facts=DogFacts(**facts, born_on=date(2022, 12, 1), chip=make_chip()),
        reason="a slip",
    )

    report = import_file(by=by, file_id=file.public_id)

    assert report.new == ()
    assert said(report) == [(2, "dam")]


class TestCommand:
    def run(self, path: Path, *options: str) -> str:
        out = StringIO()
        call_command("import_pedigree", str(path), *options, stdout=out)
        return out.getvalue()

    def test_a_dry_run_then_an_import(self, club: Club, tmp_path: Path) -> None:
        path = tmp_path / "pedigree.csv"
        path.write_text(FAMILY, "utf-8")

        assert "3 to be registered" in self.run(path)
        assert Dog.objects.count() == 0
        assert "3 registered" in self.run(path, "--commit")
        assert Dog.objects.count() == 3

    def test_rows_with_a_fault_end_it_with_one(self, club: Club, tmp_path: Path) -> None:
        path = tmp_path / "pedigree.csv"
        path.write_text("name,sex,born_on\nA,X,2023-01-15\n", "utf-8")

        with pytest.raises(CommandError, match="left out"):
            self.run(path)

    def test_a_file_that_is_not_there(self, tmp_path: Path) -> None:
        with pytest.raises(CommandError, match="cannot be opened"):
            self.run(tmp_path / "none.csv")
