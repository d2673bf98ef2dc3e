"""Graded traits on breeders' pages and in the interface: shares of grades, and one set of them."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client

from registry.models import Dog
from registry.science.threshold import liability_variances
from tests.breeding import TraitColumns, make_run
from tests.factories import Club, make_dog

HIP = "hip-grade-extended"
VARIANCES = liability_variances(0.30, 0.05)
GRADES = {"code": "grades", "shares": [0.58, 0.27, 0.1, 0.05, 0.0], "dogs": 400, "mean": 0.0,
          "spread": 0.1}  # fmt: skip
FORBIDDEN = (
    "better-graded than", "worse-graded than the breed's middle", "The mean of such a litter",
    "more than A above", "more than B above", "more than 0 above", "standard deviation",
    "of a grade",
    "between 0 and 0", "between A and A", "Middle puppy", "middle puppy", "mean of both sides",
)  # fmt: skip


def graded(**changed: Any) -> TraitColumns:
    given: dict[str, Any] = {
        "base": 0.0, "middle": 0.0, "variances": VARIANCES, "notes": (GRADES,), "records": 470,
    }  # fmt: skip
    return TraitColumns(**{**given, **changed})


@pytest.fixture
def couple(club: Club) -> tuple[Dog, Dog]:
    return make_dog(club), make_dog(club, sex="M", name="Mosedale Otto")


def text_of(client: Client, path: str) -> str:
    html = client.get(path).content.decode()
    return " ".join(re.sub(r"<[^>]+>", " ", html).replace("&#x27;", "'").split())


def shown(dog: Dog, other: Dog, slug: str) -> tuple[str, str, str]:
    here = f"/dogs/{dog.public_id}/mates/"
    return (
        f"{here}?trait={slug}",
        f"{here}{other.public_id}/?trait={slug}",
        f"/dogs/{dog.public_id}/pairs/?trait={slug}&mate={other.public_id}",
    )


def test_list_pair_and_interface_tell_the_same_shares(
    client: Client, club: Club, couple: tuple[Dog, Dog]
) -> None:
    juno, otto = couple
    columns = graded(value={otto: -0.8}, reliability={otto: 0.7})
    make_run(club.breed, traits={HIP: columns})

    listed, paired, _beside = (text_of(client, path) for path in shown(juno, otto, HIP))
    body = client.get(f"/api/v1/forecasts?sire={otto.public_id}&dam={juno.public_id}").json()
    mates = client.get(f"/api/v1/dogs/{juno.public_id}/mates?trait={HIP}").json()

    told = body["traits"][0]["grade_forecast"]
    assert mates["items"][0]["grade_forecast"] == told
    assert sum(each["share"] for each in told["grades"]) == pytest.approx(1)
    assert [each["breed_share"] for each in told["grades"]] == GRADES["shares"]
    best = round(100 * told["grades"][0]["share"])
    assert best > 63
    said = f"Of 100 puppies, about {best} are expected with grade A, the best."
    assert said in listed and said in paired
    assert "In the breed it is about 58." in listed


def test_without_information_the_breeds_shares_come_back(
    client: Client, club: Club, couple: tuple[Dog, Dog]
) -> None:
    juno, otto = couple
    make_run(club.breed, traits={HIP: graded()})

    body = client.get(f"/api/v1/forecasts?sire={otto.public_id}&dam={juno.public_id}").json()

    told = body["traits"][0]["grade_forecast"]["grades"]
    assert [each["share"] for each in told] == pytest.approx(GRADES["shares"], abs=1e-12)


@pytest.mark.parametrize("source", ["records", "prior"])
def test_no_page_of_grades_speaks_of_means_or_of_better_than_the_best(
    client: Client, club: Club, couple: tuple[Dog, Dog], source: str
) -> None:
    juno, otto = couple
    columns = graded(variances_from=source, record={otto: 1.0}, value={otto: -0.3})
    make_run(club.breed, traits={HIP: columns})

    for path in shown(juno, otto, HIP):
        text = text_of(client, path)
        assert not [words for words in FORBIDDEN if words in text]


def test_a_grade_not_known_to_be_inherited_ranks_nobody(
    client: Client, club: Club, couple: tuple[Dog, Dog]
) -> None:
    juno, otto = couple
    far = make_dog(club, sex="M", name="Tarnmoor Rook")
    columns = graded(value={otto: 0.9, far: -0.9}, variances_from="prior", heritability_se=None)
    make_run(club.breed, traits={HIP: columns})

    listed = text_of(client, shown(juno, otto, HIP)[0])
    paired = text_of(client, shown(juno, otto, HIP)[1])

    words = (
        "Hip grade, extended view: the results of 470 dogs do not tell yet how far this is "
        "inherited here."
    )
    assert words in listed and words in paired
    assert "The forecast borrows from published studies" in listed
    assert "not ranked" in listed
    assert listed.index("Mosedale Otto") < listed.index("Tarnmoor Rook")
    assert "Hands on" not in listed and "Beside the first" not in listed
    assert "0.30" in paired and "from published studies" in paired


def test_puppies_of_the_best_grade_are_never_drawn_as_worse(
    client: Client, club: Club, couple: tuple[Dog, Dog]
) -> None:
    juno, otto = couple
    make_run(club.breed, traits={HIP: graded()})

    html = client.get(shown(juno, otto, HIP)[1]).content.decode()

    picture = html.split("<svg xmlns")[1].split("</svg>")[0]
    drawn = re.findall(r'<g class="heap-(better|same|worse)"[^>]*>(.*?)</g>', picture)
    # The last group of a role is its sample beside the words.
    groups = dict(reversed(drawn))
    assert groups["same"].count("<circle") >= 29
    # With the middle at the best grade there is nothing better, and the rest is worse.
    assert "better" not in groups
    assert groups["worse"].count("<circle") >= 20


def test_a_run_from_before_grades_had_a_liability_speaks_of_none(
    client: Client, club: Club, couple: tuple[Dog, Dog]
) -> None:
    juno, otto = couple
    make_run(club.breed, traits={HIP: graded(notes=())})

    text = text_of(client, shown(juno, otto, HIP)[1])

    assert "Too few results" in text and "grade A" not in text


@pytest.mark.usefixtures("couple")
def test_there_is_no_look_ahead_for_grades(client: Client, club: Club) -> None:
    make_run(club.breed, traits={HIP: graded()})

    text = text_of(client, f"/breeds/{club.breed.slug}/{HIP}/ahead/")

    assert "There is no look ahead for grades" in text
