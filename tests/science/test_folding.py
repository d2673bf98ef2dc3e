"""Names folded for searching."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.science.folding import fold, fold_sorted, trigrams


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


def test_a_kennel_name_may_stand_first_or_last() -> None:
    assert fold_sorted("Tarnside Juno") == fold_sorted("Juno, Tarnside") == "juno tarnside"


def test_trigrams_take_each_word_with_its_ends() -> None:
    assert trigrams("juno") == [" ju", "jun", "uno", "no "]


def test_trigrams_do_not_depend_on_the_order_of_words() -> None:
    assert set(trigrams("juno tarn")) == set(trigrams("tarn juno"))


def test_a_trigram_is_named_once() -> None:
    pieces = trigrams("nana nana")

    assert len(pieces) == len(set(pieces))
    assert pieces == [" na", "nan", "ana", "na "]


@pytest.mark.parametrize(("text", "pieces"), [("", []), ("a", [" a "]), ("a b", [" a ", " b "])])
def test_short_words_have_a_trigram_too(text: str, pieces: list[str]) -> None:
    assert trigrams(text) == pieces
