"""Relationships and inbreeding, against a textbook, classic papers and the laws they state."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from registry.science.inbreeding import inbreeding, mendelian_variance
from registry.science.kinship import kinship, relationship, relationship_inverse
from registry.science.pedigree import Pedigree, PedigreeLoopError
from tests.published.cases import topic

CASES = topic("pedigree")
Rows = list[list[str | None]]


def read(rows: Rows) -> tuple[Pedigree, list[str]]:
    """Return the pedigree of (name, sire, dam), and the names by place."""
    names = [str(name) for name, _sire, _dam in rows]
    place: dict[str | None, int] = {None: -1, **{name: at for at, name in enumerate(names)}}
    return Pedigree.of(
        [place[sire] for _name, sire, _dam in rows], [place[dam] for _name, _sire, dam in rows]
    ), names


def case_of(name: str) -> tuple[Pedigree, list[str], dict[str, Any]]:
    """Return a case's pedigree, the names by place, and what is expected."""
    case = CASES[name]
    pedigree, names = read(case["inputs"]["pedigree_id_sire_dam"])
    return pedigree, names, case["expected"]


def by_name(pedigree: Pedigree, names: list[str]) -> dict[str, float]:
    """Return the inbreeding of the dogs by name."""
    return dict(zip(names, inbreeding(pedigree).tolist(), strict=True))


def test_the_relationships_of_six_animals() -> None:
    # Mrode (2014), Table 2.1 and section 2.2.
    pedigree, names, expected = case_of("mrode-2.1-A")

    found = inbreeding(pedigree)
    table = relationship(pedigree, found)

    assert dict(zip(names, found.tolist(), strict=True)) == pytest.approx(expected["F"], abs=1e-12)
    assert table == pytest.approx(np.array(expected["A"]), abs=5e-5)


def test_the_mendelian_variances_of_six_animals() -> None:
    # Mrode (2014), section 2.3: A = T D T′.
    pedigree, _names, expected = case_of("mrode-2.1-A")

    variance = mendelian_variance(pedigree, inbreeding(pedigree))

    assert variance == pytest.approx(np.array(expected["D"]), abs=1e-12)
    traced = np.array(expected["T"])
    assert traced @ np.diag(variance) @ traced.T == pytest.approx(np.array(expected["A"]), abs=5e-5)


def test_the_inverse_by_the_rules_without_inbreeding() -> None:
    # Mrode (2014), section 2.4.1; Henderson (1976).
    pedigree, _names, expected = case_of("mrode-2.1-Ainv-noF")

    inverse = relationship_inverse(pedigree, np.zeros(len(pedigree))).toarray()

    assert inverse == pytest.approx(np.array(expected["Ainv"]), abs=1e-6)


def test_the_inverse_by_the_rules_with_inbreeding() -> None:
    # Mrode (2014), section 2.4.2; Quaas (1976).
    pedigree, _names, expected = case_of("mrode-2.1-Ainv")

    inverse = relationship_inverse(pedigree, inbreeding(pedigree)).toarray()

    assert inverse == pytest.approx(np.array(expected["Ainv"]), abs=1e-6)


def test_the_inbreeding_found_by_tracing_paths() -> None:
    # Mrode (2014), Appendix B.
    pedigree, names, expected = case_of("mrode-appB-F5")

    assert by_name(pedigree, names)["5"] == pytest.approx(expected["F5"], abs=1e-12)


@pytest.mark.parametrize("mating", CASES["classic-matings"]["expected"]["F"])
def test_the_puppies_of_classic_matings(mating: str) -> None:
    # Wright (1922), Am Nat 56:330-338.
    case = CASES["classic-matings"]
    pedigree, names = read(case["inputs"]["pedigrees"][mating])
    puppy = names.index(case["inputs"]["individual"])

    found = inbreeding(pedigree)
    of_parents = kinship(pedigree, found, pedigree.sire[puppy], pedigree.dam[puppy])

    assert found[puppy] == pytest.approx(case["expected"]["F"][mating], abs=1e-12)
    assert of_parents == pytest.approx(case["expected"]["F"][mating], abs=1e-12)


def test_full_sibs_mated_for_eleven_generations() -> None:
    # Wright (1921), Genetics 6:111-178; Falconer & Mackay (1996), Table 5.1.
    pedigree, names, expected = case_of("full-sib-series")

    found = by_name(pedigree, names)

    assert {name: found[name] for name in expected["F"]} == pytest.approx(expected["F"], abs=1e-6)


def test_half_sibs_mated_for_eleven_generations() -> None:
    # Falconer & Mackay (1996), Table 5.1. One sire a generation; its mates are its half-sisters,
    # each from a dam of her own.
    expected = CASES["half-sib-series"]["expected"]["F"]
    rows: Rows = [["sire 0", None, None], *([f"dam 0 {at}", None, None] for at in range(14))]
    for generation in range(1, len(expected) + 1):
        sire = f"sire {generation - 1}"
        dams = [f"dam {generation - 1} {at}" for at in range(15 - generation)]
        rows.append([f"sire {generation}", sire, dams[-1]])
        rows += [[f"dam {generation} {at}", sire, dam] for at, dam in enumerate(dams[:-1])]

    found = by_name(*read(rows))

    series = [found[f"sire {generation}"] for generation in range(1, len(expected) + 1)]
    assert series == pytest.approx(expected, abs=1e-6)


def test_daughters_mated_back_to_one_sire_for_nine_generations() -> None:
    # Falconer & Mackay (1996), Table 5.1.
    expected = CASES["backcross-series"]["expected"]["F"]
    rows: Rows = [["sire", None, None], ["0", None, None]]
    rows += [[str(at), "sire", str(at - 1)] for at in range(1, len(expected) + 1)]

    found = by_name(*read(rows))

    series = [found[str(at)] for at in range(1, len(expected) + 1)]
    assert series == pytest.approx(expected, abs=1e-6)


def test_the_order_of_the_rows_changes_nothing() -> None:
    # A property, no published value: parents stand after their offspring here.
    pedigree, names, expected = case_of("order-independence")

    assert by_name(pedigree, names) == pytest.approx(expected["F"], abs=1e-12)


def test_a_dog_that_is_its_own_ancestor_is_refused() -> None:
    # A property, no published value.
    with pytest.raises(PedigreeLoopError) as refused:
        case_of("loop-refused")

    assert sorted(refused.value.places) == [0, 1]


def test_every_case_is_held() -> None:
    assert set(CASES) == {
        "mrode-2.1-A",
        "mrode-2.1-Ainv-noF",
        "mrode-2.1-Ainv",
        "mrode-appB-F5",
        "classic-matings",
        "full-sib-series",
        "half-sib-series",
        "backcross-series",
        "order-independence",
        "loop-refused",
    }
