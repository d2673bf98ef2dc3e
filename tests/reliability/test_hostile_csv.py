"""Whatever pedigree file is sent: the dry run says what is declared of it, and writes nothing; what
is then imported is just what it said."""

from __future__ import annotations

import pytest

from registry.desk.actor import Actor
from registry.desk.errors import Invalid
from registry.desk.pedigree_import import check, commit
from registry.ledger.verify import verify
from registry.models import Dog
from tests.corpora.csv_files import Sheet, sheets
from tests.factories import make_club, make_dog
from tests.reliability.faults import rows

pytestmark = pytest.mark.django_db
_FEWEST = 60


def test_every_file_is_judged_as_declared_and_nothing_is_written() -> None:
    club = make_club()
    corpus = sheets(make_dog(club).chip or "")
    before = rows()

    found = {sheet.what: _surprise(sheet, by=club.registrar.actor) for sheet in corpus}

    assert {what: wrong for what, wrong in found.items() if wrong} == {}
    assert rows() == before
    assert len({sheet.what for sheet in corpus}) == len(corpus) >= _FEWEST


def _surprise(sheet: Sheet, *, by: Actor) -> str:
    """What differs from the declaration, or nothing."""
    try:
        report = check(by=by, content=sheet.content)
    except Invalid as refusal:
        is_right = sheet.refusal and sheet.refusal in str(refusal)
        return "" if is_right else f"refused: {refusal}"
    bad = tuple(row.number for row in report.bad)
    found = (report.new, bad, "")
    return "" if found == (sheet.new, sheet.bad, sheet.refusal) else f"{found} {report.faults[:2]}"


def test_what_is_imported_is_what_the_dry_run_said() -> None:
    club = make_club()

    for sheet in sheets(make_dog(club).chip or ""):
        before = Dog.objects.count()
        if sheet.refusal:
            with pytest.raises(Invalid):
                commit(by=club.registrar.actor, content=sheet.content)
            assert Dog.objects.count() == before, sheet.what
            continue
        said = check(by=club.registrar.actor, content=sheet.content)
        done = commit(by=club.registrar.actor, content=sheet.content)
        assert (done.new, done.filled) == (said.new, said.filled), sheet.what
        assert Dog.objects.count() == before + len(said.new), sheet.what

    assert verify().is_whole
