"""The secretary's pages for a pedigree's file: template, dry run, rows to mend, import."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from registry.models import Dog, PedigreeFile
from tests.factories import Club, make_club

pytestmark = pytest.mark.django_db
PEDIGREE = "/secretary/pedigree/"
FILE = (
    "key,name,sex,born_on,colour,sire\n"
    "k1,Tarnfold Sire,M,2018-01-01,,\n"
    '=1+1,"=HYPERLINK(""http://evil.example"")",X,2023-01-15,@SUM(A1),k1\n'
)


@pytest.fixture
def club() -> Club:
    return make_club()


@pytest.fixture
def page(club: Club) -> Client:
    client = Client()
    client.force_login(club.secretary.user)
    return client


def sent(page: Client, text: str, name: str = "pedigree.csv") -> Any:
    return page.post(PEDIGREE, {"file": SimpleUploadedFile(name, text.encode())})


def test_the_template_is_a_file_without_a_fault(page: Client, club: Club) -> None:
    template = page.get(PEDIGREE + "template.csv")

    shown = page.get(sent(page, template.content.decode())["Location"]).content.decode()

    assert "Import the rows without a fault" in shown
    assert "Rows with a fault" not in shown


def test_the_dry_run_names_row_column_and_remedy_and_writes_nothing(page: Client) -> None:
    shown = page.get(sent(page, FILE)["Location"]).content.decode()

    assert "Choose female (F) or male (M)." in shown
    assert '<th scope="row">3</th><td>sex</td><td>X</td>' in shown
    assert Dog.objects.count() == 0


def test_the_rows_to_mend_compute_nothing_and_can_be_sent_again(page: Client) -> None:
    address = sent(page, FILE)["Location"]

    mend = page.get(address + "mend.csv").content.decode("utf-8-sig")

    rows = list(csv.DictReader(io.StringIO(mend)))
    assert [row["row"] for row in rows] == ["3", "2"]
    assert rows[0]["name"] == '\'=HYPERLINK("http://evil.example")'
    assert rows[0]["colour"] == "'@SUM(A1)"
    assert "sex: Choose female" in rows[0]["problem"]
    page.post(address + "import/")
    page.post(sent(page, mend.replace(",X,", ",F,"))["Location"] + "import/")
    mended = Dog.objects.get(sex="F")
    assert (mended.name, mended.colour) == ('=HYPERLINK("http://evil.example")', "@SUM(A1)")
    assert mended.sire == Dog.objects.get(name="Tarnfold Sire")
    assert Dog.objects.count() == 2


def test_an_import_says_what_became_of_the_rows_once(page: Client) -> None:
    address = sent(page, FILE)["Location"]

    shown = page.post(address + "import/", follow=True).content.decode()
    again = page.post(address + "import/", follow=True).content.decode()

    assert "1 dogs registered, 0 filled in, 0 there already, 1 left out" in shown
    assert "imported already" in again
    assert "was imported on" in page.get(address).content.decode()
    assert Dog.objects.count() == 1


@pytest.mark.parametrize(("text", "words"), [("nothing", "name the columns"), ("a\x00b", "NUL")])
def test_a_file_that_cannot_be_read_says_why_and_is_not_kept(
    page: Client, text: str, words: str
) -> None:
    answer = sent(page, text)

    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not PedigreeFile.objects.exists()


def test_no_file_is_asked_for(page: Client) -> None:
    answer = page.post(PEDIGREE)

    assert answer.status_code == 422
    assert "Choose a file first." in answer.content.decode()


def test_what_the_file_says_is_shown_as_text(page: Client) -> None:
    text = "name,sex,born_on\n<script>alert(1)</script>,<b>,2023-01-15\n"

    shown = page.get(sent(page, text, "<i>.csv")["Location"]).content.decode()

    assert "<script>alert" not in shown
    assert "&lt;b&gt;" in shown
