"""The shipped traits: measured ones at first start, scales of grades on offer, words renewed."""

from __future__ import annotations

import pytest
from django.test import Client

from registry.desk import shipped
from registry.desk.actor import Actor
from registry.desk.catalogue import save_trait
from registry.desk.errors import Conflict, NotFound, Refused
from registry.models import LedgerEntry, Role, Trait
from tests import factories
from tests.signing_in import sign_in

pytestmark = pytest.mark.django_db


def entries(slug: str) -> list[str]:
    return list(
        LedgerEntry.objects.filter(subject=f"trait:{slug}")
        .order_by("seq")
        .values_list("action", flat=True)
    )


class TestAtFirstStart:
    def test_measured_traits_are_installed_and_no_scale_of_grades_is_presumed(self) -> None:
        installed = shipped.install_traits(by=Actor.system())

        assert [trait.slug for trait in installed] == [
            "hip-laxity",
            "hip-laxity-compression",
            "norberg-angle",
        ]
        assert not Trait.objects.filter(kind="graded").exists()
        assert [scale.slug for scale in shipped.offered_scales()] == [
            "hip-grade-extended",
            "elbow-grade",
        ]

    def test_every_scale_on_offer_names_where_it_is_published(self) -> None:
        assert all("(20" in scale.source for scale in shipped.offered_scales())


class TestTakingUpAScale:
    def test_a_secretary_puts_it_into_use_and_the_ledger_says_so(self) -> None:
        secretary = factories.make_first_secretary()

        trait = shipped.take_up_scale(by=secretary.actor, slug="elbow-grade")

        assert trait.grades == ["0", "1", "2", "3"]
        assert entries("elbow-grade") == ["trait.added"]
        assert [scale.slug for scale in shipped.offered_scales()] == ["hip-grade-extended"]

    def test_it_cannot_be_taken_up_twice(self) -> None:
        secretary = factories.make_first_secretary()
        shipped.take_up_scale(by=secretary.actor, slug="elbow-grade")

        with pytest.raises(Conflict, match="already"):
            shipped.take_up_scale(by=secretary.actor, slug="elbow-grade")

        assert entries("elbow-grade") == ["trait.added"]

    def test_a_registrar_may_not(self) -> None:
        secretary = factories.make_first_secretary()
        registrar = factories.make_person(Role.REGISTRAR, by=secretary.actor)

        with pytest.raises(Refused):
            shipped.take_up_scale(by=registrar.actor, slug="elbow-grade")

        assert not Trait.objects.filter(slug="elbow-grade").exists()

    @pytest.mark.parametrize("slug", ["norberg-angle", "no-such-scale"])
    def test_only_what_is_on_offer_can_be(self, slug: str) -> None:
        secretary = factories.make_first_secretary()

        with pytest.raises(NotFound):
            shipped.take_up_scale(by=secretary.actor, slug=slug)

    def test_the_page_of_traits_offers_it_and_its_button_takes_it_up(self, client: Client) -> None:
        secretary = factories.make_first_secretary()
        sign_in(client, secretary)

        offered = client.get("/secretary/traits/").content.decode()
        client.post("/secretary/traits/elbow-grade/use/")

        assert "Scales on offer" in offered
        assert "Tellhelm" in offered
        assert Trait.objects.filter(slug="elbow-grade").exists()
        assert client.get("/secretary/traits/elbow-grade/use/").status_code == 404


class TestRenewingWords:
    def former(self, name: str = "Hip laxity index") -> None:
        """The trait as a former version shipped it, under the name given."""
        shipped.install_traits(by=Actor.system())
        save_trait(
            by=Actor.system(),
            slug="hip-laxity",
            facts={
                "name": name,
                "guidance": [
                    {"value": "0.30", "sentence": "Rare.", "source": "from memory"},
                    {"value": "0.45", "sentence": "Likely.", "source": "common practice"},
                    {"value": "0.70", "sentence": "Very likely.", "source": "common practice"},
                ],
            },
        )

    def test_a_former_name_and_former_guidance_become_this_versions(self) -> None:
        self.former()

        (renewed,) = shipped.renew_words(by=Actor.system())

        assert renewed.name == Trait.objects.get(slug="hip-laxity").name == "Hip laxity"
        assert "memory" not in str(renewed.guidance)
        assert entries("hip-laxity")[-1] == "trait.changed"

    def test_a_name_of_the_clubs_own_stays(self) -> None:
        self.former(name="How loose the hips are")

        shipped.renew_words(by=Actor.system())

        assert Trait.objects.get(slug="hip-laxity").name == "How loose the hips are"

    def test_what_is_up_to_date_gets_no_entry(self) -> None:
        self.former()
        shipped.renew_words(by=Actor.system())
        before = LedgerEntry.objects.count()

        assert shipped.renew_words(by=Actor.system()) == []
        assert LedgerEntry.objects.count() == before

    def test_points_at_other_values_are_left_alone(self) -> None:
        shipped.install_traits(by=Actor.system())
        own = [{"value": "0.50", "sentence": "Ours.", "source": "our vet"}]
        save_trait(by=Actor.system(), slug="hip-laxity", facts={"guidance": own})

        assert shipped.renew_words(by=Actor.system()) == []
        assert Trait.objects.get(slug="hip-laxity").guidance == own
