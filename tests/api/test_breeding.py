"""Breeding by the interface: the pages' numbers and the pages' rule of what is withheld."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pytest
from django.utils import timezone

from registry.desk.consent import change_consent
from registry.models import BreedingRun, Certificate, Dog, LedgerEntry, RunState, TraitRun
from registry.queries.breeding import latest_run
from registry.queries.pairs import pair
from registry.queries.public_dogs import public_dog
from registry.science.litter import Forecast
from tests.api.conftest import Callers
from tests.breeding import TraitColumns, make_run
from tests.courses import make_course
from tests.factories import Club, make_accepted, make_breed, make_dog


@dataclass(frozen=True)
class Kennel:
    """A dam, five sires from the best value to the worst, and one whose result is withheld."""

    dam: Dog
    sires: list[Dog]
    withheld: Dog
    certificate: Certificate
    run: BreedingRun


@pytest.fixture
def kennel(callers: Callers) -> Kennel:
    return make_kennel(callers.club)


def make_kennel(club: Club) -> Kennel:
    born = timezone.localdate() - timedelta(days=4 * 365)
    dam = make_dog(club, name="Mosedale Wren", born_on=born)
    sires = [
        make_dog(club, name=f"Fellgate Otto {number}", sex="M", born_on=born) for number in range(5)
    ]
    withheld = make_dog(club, name="Scarside Hush", sex="M", born_on=born)
    certificate = make_accepted(club, withheld, consent_to_publish=False)
    values = {sire: -0.08 + 0.03 * number for number, sire in enumerate(sires)}
    run = make_run(
        club.breed,
        traits={
            "hip-laxity": TraitColumns(
                value={dam: 0.02, withheld: -0.2, **values},
                reliability={dam: 0.4, withheld: 0.6, **dict.fromkeys(sires, 0.5)},
                record={withheld: 0.21},
            )
        },
    )
    return Kennel(dam, sires, withheld, certificate, run)


def read(callers: Callers, path: str) -> Any:
    response = callers.nobody.get(path)
    assert response.status_code == 200, response.content
    return response.json()


def refused(callers: Callers, path: str) -> tuple[int, str]:
    response = callers.nobody.get(path)
    assert response["Content-Type"] == "application/problem+json"
    return response.status_code, response.json().get("why", response.json()["type"].split("#")[-1])


class TestRunOfEveryAnswer:
    @pytest.mark.parametrize("name", ["values", "mates", "kinship", "forecasts"])
    def test_it_names_the_run_and_the_cautions_and_comes_once(
        self, callers: Callers, kennel: Kennel, name: str
    ) -> None:
        dam, sire = kennel.dam.public_id, kennel.sires[0].public_id
        path = {
            "values": f"dogs/{dam}/breeding-values",
            "mates": f"dogs/{dam}/mates",
            "kinship": f"kinships?one={dam}&other={sire}",
            "forecasts": f"forecasts?sire={sire}&dam={dam}",
        }[name]

        response = callers.nobody.get(path)
        again = callers.nobody.get(path, **{"If-None-Match": response["ETag"]})
        make_dog(callers.club)
        later = callers.nobody.get(path, **{"If-None-Match": response["ETag"]})

        run = response.json()["run"]
        assert run["number"] == 1 and run["is_behind"] is False
        plain = {kennel.run.results_sha256, kennel.run.inputs_sha256}
        assert len(run["results_sha256"]) == len(run["inputs_sha256"]) == 64
        assert not plain & {run["results_sha256"], run["inputs_sha256"]}
        assert run["finished_at"].endswith("Z")
        assert any("not a promise" in each for each in response.json()["cautions"])
        assert again.status_code == 304
        # One dog more: the run is behind, and says so.
        assert later.status_code == 200 and later.json()["run"]["changes_since"] == 1


class TestBreedingValues:
    def test_they_are_the_runs(self, callers: Callers, kennel: Kennel) -> None:
        body = read(callers, f"dogs/{kennel.dam.public_id}/breeding-values")

        (value,) = body["values"]
        assert (value["trait"], value["value"], value["reliability"]) == ("hip-laxity", 0.02, 0.4)
        assert body["inbreeding"] == 0.0 and body["is_in_run"] is True

    def test_a_withheld_one_says_so_and_tells_no_number(
        self, callers: Callers, kennel: Kennel
    ) -> None:
        body = read(callers, f"dogs/{kennel.withheld.public_id}/breeding-values")

        (value,) = body["values"]
        assert value["is_withheld"] is True
        assert value["value"] is value["reliability"] is value["error_variance"] is None

    def test_it_is_told_as_soon_as_the_owner_agrees(self, callers: Callers, kennel: Kennel) -> None:
        change_consent(
            by=callers.club.secretary.actor,
            evaluation_id=kennel.certificate.evaluation.public_id,
            publish=True,
        )

        (value,) = read(callers, f"dogs/{kennel.withheld.public_id}/breeding-values")["values"]

        assert (value["is_withheld"], value["value"]) == (False, -0.2)

    def test_a_dog_that_came_later_is_not_in_the_run(
        self, callers: Callers, kennel: Kennel
    ) -> None:
        later = make_dog(callers.club)

        body = read(callers, f"dogs/{later.public_id}/breeding-values")

        assert body["is_in_run"] is False and body["values"] == []

    def test_without_a_run_there_are_none_yet(self, callers: Callers) -> None:
        dog = make_dog(callers.club)

        assert refused(callers, f"dogs/{dog.public_id}/breeding-values") == (404, "no-run")


class TestMates:
    def test_the_best_litter_comes_first_and_the_withheld_is_only_counted(
        self, callers: Callers, kennel: Kennel
    ) -> None:
        response = callers.nobody.get(f"dogs/{kennel.dam.public_id}/mates")
        body = response.json()

        assert [each["id"] for each in body["items"]] == [dog.public_id for dog in kennel.sires]
        assert (body["matching"], body["total"], body["withheld"]) == (5, 5, 1)
        assert kennel.withheld.name not in response.content.decode()
        # Half of the dam's 0.02 and of the first sire's -0.08, from a base of 0.45.
        assert body["items"][0]["forecast"]["mean"] == pytest.approx(0.42)
        assert body["items"][1]["behind_the_first"] == pytest.approx(0.015, abs=0.006)

    def test_pages_follow_each_other_without_gap_or_double(
        self, callers: Callers, kennel: Kennel
    ) -> None:
        path = f"dogs/{kennel.dam.public_id}/mates?limit=2"
        seen: list[str] = []
        following: str | None = ""

        while following is not None:
            body = read(callers, path + (f"&cursor={following}" if following else ""))
            seen += [each["id"] for each in body["items"]]
            following = body["next"]

        assert seen == [dog.public_id for dog in kennel.sires]

    def test_a_cursor_of_a_list_that_changed_is_refused(
        self, callers: Callers, kennel: Kennel
    ) -> None:
        path = f"dogs/{kennel.dam.public_id}/mates?limit=2"
        cursor = read(callers, path)["next"]
        make_accepted(callers.club, kennel.sires[0], consent_to_publish=False)

        assert refused(callers, f"{path}&cursor={cursor}") == (409, "list-changed")

    def test_a_cursor_of_an_earlier_run_is_refused(self, callers: Callers, kennel: Kennel) -> None:
        path = f"dogs/{kennel.dam.public_id}/mates?limit=2"
        cursor = read(callers, path)["next"]
        make_run(callers.club.breed)

        assert refused(callers, f"{path}&cursor={cursor}") == (409, "list-changed")

    @pytest.mark.parametrize(
        "query",
        ["most_kinship=2", "most_kinship=nan", "most_kinship=0_1", "only_tested=no",
         "no_worse_than_middle=1", "youngest_months=-1", "oldest_months=400", "limit=0",
         "cursor=xx", "strange=1", "trait=a&trait=b"],
    )  # fmt: skip
    def test_what_cannot_be_read_is_named(
        self, callers: Callers, kennel: Kennel, query: str
    ) -> None:
        response = callers.nobody.get(f"dogs/{kennel.dam.public_id}/mates?{query}")

        assert response.status_code == 400
        assert response.json()["errors"][0]["parameter"] == query.partition("=")[0]

    def test_wishes_narrow_the_list(self, callers: Callers, kennel: Kennel) -> None:
        path = f"dogs/{kennel.dam.public_id}/mates"

        assert read(callers, f"{path}?only_tested=yes")["matching"] == 0
        assert read(callers, f"{path}?name=otto+3")["matching"] == 1
        assert read(callers, f"{path}?youngest_months=60")["matching"] == 0

    def test_for_a_withheld_dog_nothing_is_ranked(self, callers: Callers, kennel: Kennel) -> None:
        assert refused(callers, f"dogs/{kennel.withheld.public_id}/mates") == (409, "withheld")

    def test_a_trait_without_values_has_no_list(self, callers: Callers, kennel: Kennel) -> None:
        path = f"dogs/{kennel.dam.public_id}/mates?trait=elbow-grade"

        assert refused(callers, path) == (404, "no-values")


class TestKinship:
    def test_full_siblings_have_a_quarter(self, callers: Callers) -> None:
        club = callers.club
        born = date(2019, 5, 1)
        sire = make_dog(club, sex="M", born_on=born).public_id
        dam = make_dog(club, born_on=born).public_id
        one, other = (make_dog(club, sire=sire, dam=dam).public_id for _ in range(2))
        make_run(club.breed)

        body = read(callers, f"kinships?one={one}&other={other}")

        assert (body["kinship"], body["relation"]) == (0.25, "full-siblings")
        assert read(callers, f"kinships?one={one}&other={sire}")["relation"] == "parent"
        assert read(callers, f"kinships?one={one}&other={one}")["relation"] == "same-dog"

    def test_two_breeds_have_none(self, callers: Callers, kennel: Kennel) -> None:
        other = make_dog(callers.club, breed=make_breed().slug)
        path = f"kinships?one={kennel.dam.public_id}&other={other.public_id}"

        assert refused(callers, path) == (409, "other-breed")

    def test_both_dogs_must_be_named_and_known(self, callers: Callers, kennel: Kennel) -> None:
        assert callers.nobody.get(f"kinships?one={kennel.dam.public_id}").status_code == 400
        path = f"kinships?one={kennel.dam.public_id}&other=nothing"
        assert callers.nobody.get(path).status_code == 404


class TestForecasts:
    def test_it_is_the_pages_forecast(self, callers: Callers, kennel: Kennel) -> None:
        sire, dam = (public_dog(dog.public_id) for dog in (kennel.sires[2], kennel.dam))
        assert sire is not None and dam is not None
        expected = pair(sire, dam).traits[0].forecast
        assert isinstance(expected, Forecast)

        body = read(callers, f"forecasts?sire={sire.public_id}&dam={dam.public_id}")

        (trait,) = body["traits"]
        assert trait["forecast"]["mean"] == pytest.approx(expected.mean, abs=0.005)
        assert trait["forecast"]["sd"] == pytest.approx(expected.sd, rel=0.005)
        assert [trait["forecast"]["low_80"], trait["forecast"]["high_80"]] == pytest.approx(
            list(expected.interval()), abs=0.005
        )
        assert trait["forecast"]["inbreeding"] == body["kinship"] == 0.0
        assert trait["sire"]["value"] == pytest.approx(-0.02) and trait["dam"]["value"] == 0.02

    def test_no_number_has_more_digits_than_it_bears(
        self, callers: Callers, kennel: Kennel
    ) -> None:
        make_run(
            callers.club.breed,
            traits={
                "hip-laxity": TraitColumns(
                    value={kennel.dam: 0.0234567, kennel.sires[0]: -0.0812345},
                    reliability={kennel.dam: 0.4123456, kennel.sires[0]: 0.6123456},
                    base=0.4512345,
                    middle=0.4412345,
                )
            },
        )
        dam, sire = kennel.dam.public_id, kennel.sires[0].public_id

        numbers: list[str] = []
        for path in (
            f"dogs/{dam}/breeding-values",
            f"dogs/{dam}/mates",
            f"forecasts?sire={sire}&dam={dam}",
            f"breeds/{callers.club.breed.slug}/breeding-runs",
        ):
            json.loads(callers.nobody.get(path).content, parse_float=numbers.append)

        assert len(numbers) > 30
        # Three digits that count, however small the number.
        assert [each for each in numbers if len(each.partition(".")[2].lstrip("0")) > 3] == []

    def test_with_a_withheld_parent_there_is_none_and_it_says_whose(
        self, callers: Callers, kennel: Kennel
    ) -> None:
        sire, dam = kennel.withheld.public_id, kennel.dam.public_id

        (trait,) = read(callers, f"forecasts?sire={sire}&dam={dam}&trait=hip-laxity")["traits"]

        assert trait["forecast"] is None and trait["withheld"] == [sire]
        assert trait["sire"]["value"] is None

    def test_what_cannot_mate_is_refused(self, callers: Callers, kennel: Kennel) -> None:
        one, other = (dog.public_id for dog in kennel.sires[:2])
        dam = kennel.dam.public_id

        assert refused(callers, f"forecasts?sire={one}&dam={other}") == (409, "same-sex")
        assert refused(callers, f"forecasts?sire={one}&dam={one}") == (409, "same-dog")
        assert callers.nobody.get(f"forecasts?sire={dam}&dam={one}").status_code == 400
        Dog.objects.filter(pk=kennel.dam.pk).update(died_on=timezone.localdate())
        assert refused(callers, f"forecasts?sire={one}&dam={dam}") == (409, "dead-dam")

    def test_a_trait_without_values_has_none(self, callers: Callers, kennel: Kennel) -> None:
        path = f"forecasts?sire={kennel.sires[0].public_id}&dam={kennel.dam.public_id}&trait=x"

        assert refused(callers, path) == (404, "no-values")


class TestTrend:
    def test_it_is_what_the_run_stored(self, callers: Callers) -> None:
        run = make_course(callers.club)
        stored = TraitRun.objects.get(run=run).trend

        body = read(callers, f"trends/{callers.club.breed.slug}/hip-laxity")

        assert {name: body[name] for name in stored if name != "years"} == {
            name: stored[name] for name in stored if name != "years"
        }
        for told, year in zip(body["years"], stored["years"], strict=True):
            for name in ("record", "value"):
                assert told.pop(name) == (year[name] and pytest.approx(year[name], abs=0.0005))
            assert told == {name: year[name] for name in told}
        assert body["estimates"]["base"] == 0.45
        assert body["sentences"][0].startswith("Puppies born in 2024 carry genes for a tighter hip")

    def test_without_inbreeding_the_size_is_null(self, callers: Callers) -> None:
        size = {
            "size": None, "size_error": None, "rate": 0.0, "rate_error": 0.0, "dogs": 9,
            "matings": 3, "generations": 2.5, "first_year": 2021, "last_year": 2024,
        }  # fmt: skip
        trend: dict[str, Any] = {"years": [], "line": None, "left_out": [], "effective_size": size}
        make_course(callers.club, trend=trend)

        body = read(callers, f"trends/{callers.club.breed.slug}/hip-laxity")

        assert body["effective_size"] == size

    def test_without_a_run_there_is_none(self, callers: Callers) -> None:
        assert refused(callers, f"trends/{callers.club.breed.slug}/hip-laxity") == (404, "no-run")
        assert callers.nobody.get("trends/nothing/hip-laxity").status_code == 404


class TestRuns:
    def test_the_list_tells_every_run_and_what_the_latest_found(self, callers: Callers) -> None:
        make_course(callers.club)
        make_course(callers.club, heritability_se=0.05)

        body = read(callers, f"breeds/{callers.club.breed.slug}/breeding-runs?limit=1")

        assert [each["number"] for each in body["items"]] == [2]
        assert body["latest"]["number"] == 2
        assert body["estimates"][0]["heritability_se"] == 0.05
        rest = read(
            callers,
            f"breeds/{callers.club.breed.slug}/breeding-runs?limit=1&cursor={body['next']}",
        )
        assert [each["number"] for each in rest["items"]] == [1] and rest["next"] is None

    def test_why_a_run_failed_is_for_the_registers_keepers(self, callers: Callers) -> None:
        now = timezone.now()
        BreedingRun.objects.create(
            breed=callers.club.breed, number=1, state=RunState.FAILED, asked_at=now,
            finished_at=now, error="Tarnfold Juno is her own ancestor.",
        )  # fmt: skip
        path = f"breeds/{callers.club.breed.slug}/breeding-runs/1"

        errors = [
            caller.get(path).json()["error"]
            for caller in (callers.nobody, callers.clinic, callers.registrar, callers.secretary)
        ]

        words = "Tarnfold Juno is her own ancestor."
        assert errors == ["", "", words, words]

    def test_a_run_is_asked_for_and_found_again(self, callers: Callers) -> None:
        make_dog(callers.club)
        path = f"breeds/{callers.club.breed.slug}/breeding-runs"

        asked = callers.registrar.send(path, "")
        found = callers.nobody.client.get(asked["Location"])

        assert asked.status_code == 202 and asked.json()["number"] == 1
        assert found.json()["state"] == "done"
        run = latest_run(callers.club.breed.pk)
        assert run is not None and run.number == 1

    def test_a_key_sent_twice_asks_once(self, callers: Callers, settings: Any) -> None:
        settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
        path = f"breeds/{callers.club.breed.slug}/breeding-runs"

        first = callers.secretary.send(path, {}, Idempotency_Key="autumn")
        again = callers.secretary.send(path, {}, Idempotency_Key="autumn")

        assert (first.status_code, again.status_code) == (202, 202)
        assert first.content == again.content and again["Idempotency-Replayed"] == "true"
        assert first["Location"] == again["Location"]
        assert first.json()["state"] == "waiting"
        assert LedgerEntry.objects.filter(action="breeding.asked").count() == 1

    def test_an_open_run_is_not_asked_for_again(self, callers: Callers, settings: Any) -> None:
        settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
        path = f"breeds/{callers.club.breed.slug}/breeding-runs"

        numbers = {callers.registrar.send(path, {}).json()["number"] for _ in range(3)}

        assert numbers == {1}

    def test_nobody_else_may_ask(self, callers: Callers) -> None:
        path = f"breeds/{callers.club.breed.slug}/breeding-runs"

        assert callers.nobody.send(path, {}).status_code == 401
        assert callers.clinic.send(path, {}).status_code == 403
        assert callers.registrar.send("breeds/nothing/breeding-runs", {}).status_code == 404
        assert callers.registrar.send(path, {"strange": 1}).status_code == 422
        assert not BreedingRun.objects.exists()
