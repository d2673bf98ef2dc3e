"""The readers of environment variables refuse everything that is not plainly meant."""

from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured

from registry.environment import Environment


class TestText:
    def test_it_reads_the_variable(self) -> None:
        assert Environment({"NAME": "value"}).text("NAME") == "value"

    def test_it_reads_the_file_and_drops_the_last_line_break(self, tmp_path: Path) -> None:
        file = tmp_path / "secret"
        file.write_text("s3cret \n")

        assert Environment({"NAME_FILE": str(file)}).text("NAME") == "s3cret "

    def test_it_refuses_both_forms_at_once(self, tmp_path: Path) -> None:
        file = tmp_path / "secret"
        file.write_text("a")
        env = Environment({"NAME": "b", "NAME_FILE": str(file)})

        with pytest.raises(ImproperlyConfigured, match="not both"):
            env.text("NAME")

    def test_it_refuses_a_file_that_is_not_there(self) -> None:
        env = Environment({"NAME_FILE": "/no/such/file"})

        with pytest.raises(ImproperlyConfigured, match="NAME_FILE"):
            env.text("NAME", "default")

    @pytest.mark.parametrize("variables", [{}, {"NAME": ""}])
    def test_a_required_text_may_be_neither_missing_nor_empty(
        self, variables: dict[str, str]
    ) -> None:
        with pytest.raises(ImproperlyConfigured, match="NAME"):
            Environment(variables).text("NAME")

    def test_an_empty_variable_means_the_default(self) -> None:
        assert Environment({"NAME": ""}).text("NAME", "default") == "default"

    @pytest.mark.parametrize("variables", [{}, {"NAME": ""}])
    def test_an_optional_one_may_be_missing(self, variables: dict[str, str]) -> None:
        assert Environment(variables).optional_text("NAME") is None


class TestFlag:
    @pytest.mark.parametrize("word", ["1", "true", "Yes", "ON"])
    def test_it_knows_yes(self, word: str) -> None:
        assert Environment({"NAME": word}).flag("NAME", default=False) is True

    @pytest.mark.parametrize("word", ["0", "false", "No", "OFF"])
    def test_it_knows_no(self, word: str) -> None:
        assert Environment({"NAME": word}).flag("NAME", default=True) is False

    @pytest.mark.parametrize("word", ["y", "ture", "2", "none"])
    def test_it_refuses_any_other_word(self, word: str) -> None:
        with pytest.raises(ImproperlyConfigured, match="yes or no"):
            Environment({"NAME": word}).flag("NAME", default=False)


class TestWhole:
    @pytest.mark.parametrize("text", ["0", "11", "-1"])
    def test_it_refuses_a_number_outside_its_bounds(self, text: str) -> None:
        with pytest.raises(ImproperlyConfigured, match="between 1 and 10"):
            Environment({"NAME": text}).whole("NAME", 5, least=1, most=10)

    @pytest.mark.parametrize("text", ["5.0", "five", "0x5"])
    def test_it_refuses_what_is_no_whole_number(self, text: str) -> None:
        with pytest.raises(ImproperlyConfigured, match="whole number"):
            Environment({"NAME": text}).whole("NAME", 5, least=1, most=10)

    def test_it_accepts_its_bounds(self) -> None:
        env = Environment({"LOW": "1", "HIGH": "10"})

        assert env.whole("LOW", 5, least=1, most=10) == 1
        assert env.whole("HIGH", 5, least=1, most=10) == 10


def test_words_are_split_at_commas_and_trimmed() -> None:
    assert Environment({"NAME": " a.example, ,b.example "}).words("NAME") == [
        "a.example",
        "b.example",
    ]


def test_a_choice_outside_the_list_is_refused() -> None:
    with pytest.raises(ImproperlyConfigured, match="production, demo"):
        Environment({"NAME": "Production"}).choice("NAME", "demo", among=("production", "demo"))


def test_a_relative_path_is_refused() -> None:
    with pytest.raises(ImproperlyConfigured, match="absolute"):
        Environment({"NAME": "var"}).path("NAME", Path("/srv"))
