"""What an archive holds, what it leaves out, and that no secret is in it."""

from __future__ import annotations

import base64
import hashlib
import json
import zipfile
from decimal import Decimal

import pytest
from django.conf import settings

from registry.archive.inventory import KEPT, LEFT_OUT, all_labels, kept_models, member_of
from registry.archive.rows import Reader, RowProblem, canonical, lines
from registry.models import Breed, Dog, Trait
from tests.archive.conftest import Kept
from tests.archive.damages import read_zip
from tests.factories import PASSWORD, make_traits

pytestmark = pytest.mark.django_db


def test_somebody_has_decided_on_every_table() -> None:
    assert all_labels() == set(KEPT) | LEFT_OUT.keys()
    assert not set(KEPT) & LEFT_OUT.keys()
    assert [model._meta.label for model in kept_models()] == list(KEPT)


def test_an_archive_holds_every_kept_table_and_says_what_it_leaves_out(kept: Kept) -> None:
    files = read_zip(kept.made.path)
    told = json.loads(files["manifest.json"])

    assert {member_of(model) for model in kept_models()} < files.keys()
    assert told["left_out"] == LEFT_OUT
    assert "hashes of passwords" in told["what"].replace("hashes of\n", "hashes of ")
    assert hashlib.sha256(files["rows/dog.jsonl"]).hexdigest() in files["manifest.json"].decode()


def test_no_secret_is_in_an_archive_or_an_export(kept: Kept) -> None:
    everything = b"".join(read_zip(kept.made.path).values())
    everything += b"".join(path.read_bytes() for path in kept.export.rglob("*") if path.is_file())
    secrets = [kept.secret, PASSWORD, settings.SECRET_KEY, settings.LOG_KEY, settings.ISSUER_KEY]
    raw = [base64.b64decode(key) for key in (settings.LOG_KEY, settings.ISSUER_KEY)]

    found = [secret for secret in secrets if secret.encode() in everything]
    found += [seed.hex() for seed in raw if seed in everything or seed.hex().encode() in everything]

    assert found == []
    # The same search does find what is there.
    assert kept.secret and hashlib.sha256(kept.secret.encode()).hexdigest().encode() in everything


def test_an_archive_is_for_its_owner_alone(kept: Kept) -> None:
    assert kept.made.path.stat().st_mode & 0o077 == 0
    assert kept.export.stat().st_mode & 0o077 == 0
    assert zipfile.ZipFile(kept.made.path).testzip() is None


class TestRows:
    def test_decimals_keep_the_columns_places(self) -> None:
        make_traits()

        told = [json.loads(line) for line in lines(Trait)]

        laxity = next(row for row in told if row["slug"] == "hip-laxity")
        assert laxity["resolution"] == "0.0100"
        assert Reader(Trait).values(canonical(laxity))[
            [field.attname for field in Reader(Trait).columns].index("resolution")
        ] == Decimal("0.01")

    def test_numbers_in_json_have_one_spelling(self) -> None:
        history = [{"a": -0.0, "b": 1e22, "c": 0.1, "d": 1.0, "e": 1e-7}]
        Breed.objects.create(name="Tarn", slug="tarn", window_history=history)

        (line,) = lines(Breed)

        wanted = '[{"a":0.0,"b":10000000000000000000000,"c":0.1,"d":1.0,"e":1e-07}]'
        assert f'"window_history":{wanted}' in line.decode()

    @pytest.mark.parametrize(
        ("change", "why"),
        [
            ({"name": None}, "name is empty"),
            ({"name": 7}, "name cannot be read"),
            ({"is_confirmed": 1}, "is_confirmed cannot be read"),
            ({"breed_id": True}, "breed_id cannot be read"),
            ({"created_at": "2026-01-01T00:00:00"}, "created_at cannot be read"),
        ],
    )
    def test_a_value_of_another_kind_is_no_row(self, change: dict[str, object], why: str) -> None:
        row: dict[str, object] = dict.fromkeys([field.attname for field in Reader(Dog).columns])
        row |= {"id": 1, "public_id": "x", "breed_id": 1, "name": "Juno", "call_name": "Juno"}
        row |= {"sex": "F", "born_on": "2023-01-15", "colour": "", "studbook_number": ""}
        row |= {"is_confirmed": True, "search_name": "juno", "version": 1}
        row |= {"created_at": "2026-01-01T00:00:00.000000Z"}
        row |= {name: row.get(name) or "" for name in row if name.endswith("claim")}
        assert Reader(Dog).values(canonical(row))

        with pytest.raises(RowProblem, match=why):
            Reader(Dog).values(canonical(row | change))
