"""Names folded for searching."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.science.folding import fold


@pytest.mark.parametrize(
    ("name", "folded"),
    [
        ("Žižka", "zizka"),
        ("ŽIŽKA", "zizka"),
        ("Juno of Tarn", "juno of tarn"),
        ("Größe", "grosse"),
        ("GRÖSSE", "grosse"),
        ("Bjørn Łąka", "bjorn laka"),
        ("Æther Œuf", "aether oeuf"),
        ("O'Hara", "ohara"),
        ("O’Hara", "ohara"),
        ("O`Hara", "ohara"),
        ("Jean-Luc", "jean luc"),
        ("  Moss,  vom  Fell.", "moss vom fell"),
        ("İstanbul", "istanbul"),
        ("ısı", "isi"),
        ("Ｊｕｎｏ", "juno"),
        ("e\u0301clair", "eclair"),
        ("snow_white", "snow white"),
        ("No. 7", "no 7"),
        ("Σίσυφος", "σισυφοσ"),
        ("", ""),
        ("!?", ""),
    ],
)
def test_two_spellings_of_one_name_meet(name: str, folded: str) -> None:
    assert fold(name) == folded


@given(st.text(max_size=30))
def test_folding_twice_changes_nothing(name: str) -> None:
    assert fold(fold(name)) == fold(name)


@given(st.text(max_size=30))
def test_capitals_do_not_matter(name: str) -> None:
    assert fold(name.lower()) == fold(name.lower().upper().lower())
