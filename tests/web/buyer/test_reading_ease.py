"""Buyers' text stays below grade 6 by two formulas, and in sentences of twenty words or fewer."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from registry.models import Certificate
from tests.web.buyer.reading import ari, coleman_liau, sentences, words

_SAMPLE = ["The cat sat on the mat.", "It was a very big cat."]


def test_the_formulas_agree_with_a_count_by_hand() -> None:
    # 12 words in 2 sentences; letters: The cat sat on the mat = 17, It was a very big cat = 16.
    assert ari(_SAMPLE) == pytest.approx(4.71 * 33 / 12 + 0.5 * 6 - 21.43)
    assert coleman_liau(_SAMPLE) == pytest.approx(0.0588 * 275 - 0.296 * (100 * 2 / 12) - 15.8)


def _paths(juno: Certificate) -> dict[str, str]:
    dog = juno.evaluation.dog
    return {
        "certificate": f"/C/{juno.number}",
        "dog": f"/dogs/{dog.public_id}/",
        "look-up": "/",
        "help": "/help/",
        "privacy": "/privacy/",
        "log": "/log/",
        "check": "/check/",
        "breeds": "/breeds/",
        "breed": f"/breeds/{dog.breed.slug}/",
        "distribution": f"/breeds/{dog.breed.slug}/hip-laxity/",
        "not-found": "/C/0000000000",
        "no-owner": "/owner/cut-short/",
    }


@pytest.mark.parametrize(
    "page",
    ["certificate", "dog", "look-up", "help", "privacy", "log", "check", "breeds", "breed",
     "distribution", "not-found", "no-owner"],
)  # fmt: skip
def test_a_page_reads_easily(
    client: Client, juno: Certificate, tested: Callable[[int], None], page: str
) -> None:
    tested(25)
    html = client.get(_paths(juno)[page]).content.decode()
    # What is folded away may be harder: grade 8.
    open_part = "".join(
        part.split("</details>")[-1] for part in ("</details>" + html).split("<details>")
    )

    found = sentences(open_part)

    assert found
    assert max(len(words(sentence)) for sentence in found) <= 20
    assert ari(found) <= 6
    assert coleman_liau(found) <= 6


def test_the_folded_part_of_a_certificate_reads_at_grade_eight(
    client: Client, juno: Certificate, tested: Callable[[int], None]
) -> None:
    tested(25)
    html = client.get(f"/C/{juno.number}").content.decode()
    folded = "".join(part.split("</details>")[0] for part in html.split("<details>")[1:])

    found = [
        sentence for sentence in sentences(f"<main>{folded}</main>") if "Med Assoc" not in sentence
    ]

    assert ari(found) <= 8
    assert coleman_liau(found) <= 8
