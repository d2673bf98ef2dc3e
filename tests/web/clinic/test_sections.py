"""The sections of a draft: what is kept, what is refused, what is only warned about."""

from __future__ import annotations

import re
from datetime import date

import pytest
from django.test import Client

from registry.models import Dog, Draft
from tests import factories
from tests.factories import Club
from tests.web.clinic.desk import (
    EXAMINATION,
    MEASUREMENTS,
    OWNER,
    at,
    fill,
    keep,
    started,
    text_of,
    value_of,
)


class TestExamination:
    def test_it_is_kept_in_the_shape_a_program_would_send(
        self, nurse: Client, draft: Draft
    ) -> None:
        response = keep(nurse, draft, "examination", **EXAMINATION)

        assert response.headers["Location"] == at("measurements", draft)
        draft.refresh_from_db()
        assert draft.answers["examined_on"] == "2026-10-02"
        assert draft.answers["conditions"] == {
            "restraint": "sedation",
            "weight_kg": "18,5",
            "chip_read": True,
        }

    def test_the_age_at_the_examination_is_computed_and_shown(
        self, nurse: Client, draft: Draft
    ) -> None:
        keep(nurse, draft, "examination", **EXAMINATION)

        shown = text_of(nurse.get(at("examination", draft)))

        # Born on 15 January 2023, examined on 2 October 2026.
        assert "3 years, 8 months old at the examination" in shown

    @pytest.mark.parametrize(
        ("box", "typed", "words"),
        [
            ("examined_on", "", "Enter the day of the examination."),
            ("examined_on", "2/10/2026", "can be read two ways"),
            ("examined_on", "31 February 2026", "is not a day of the calendar"),
            ("examined_on", "1 January 2022", "is before the dog's birth on 15 January 2023"),
            ("examined_on", "1 January 2090", "is later than the day of sending"),
            ("examiner", "", "Enter the name of the veterinarian"),
            ("restraint", "", "Choose how the dog was kept still."),
            ("chip_read", "", "Choose whether the chip was read."),
            ("weight_kg", "heavy", "Enter the weight in kilograms, like 18.5."),
            ("weight_kg", "1850", "Enter the weight in kilograms, like 18.5."),
            ("chip_as_read", "12", "A chip number has 15 digits."),
        ],
    )
    def test_a_fault_is_said_twice_in_the_same_words_and_what_was_typed_stays(
        self, nurse: Client, draft: Draft, box: str, typed: str, words: str
    ) -> None:
        response = keep(nurse, draft, "examination", **{**EXAMINATION, box: typed})

        assert response.status_code == 422
        assert text_of(response).count(words) == 2
        assert "There is a problem" in text_of(response)
        assert "<title>Error: " in response.content.decode()
        assert f'href="#id_{box}' in response.content.decode()
        if typed:
            again = nurse.get(at("examination", draft))
            readable = {"1 January 2022", "1 January 2090"}
            assert value_of(again, box) == typed or typed in readable

    def test_a_page_left_half_done_is_kept_and_in_progress(
        self, nurse: Client, draft: Draft
    ) -> None:
        keep(nurse, draft, "examination", examiner="Dr. Vera Oakhollow")

        assert value_of(nurse.get(at("examination", draft)), "examiner") == "Dr. Vera Oakhollow"
        assert "In progress" in text_of(nurse.get(at("draft", draft)))

    def test_what_cannot_be_right_is_a_problem_on_the_list(
        self, nurse: Client, draft: Draft
    ) -> None:
        keep(nurse, draft, "examination", **{**EXAMINATION, "weight_kg": "heavy"})

        assert "There is a problem" in text_of(nurse.get(at("draft", draft)))

    def test_another_dogs_chip_is_warned_about_and_not_blocked(
        self, club: Club, nurse: Client, draft: Draft
    ) -> None:
        factories.make_dog(club, chip="276098109999992")
        boxes = {**EXAMINATION, "chip_as_read": "276098109999992"}

        first = keep(nurse, draft, "examination", **boxes)
        shown = text_of(nurse.get(first.headers["Location"]))
        second = keep(nurse, draft, "examination", **boxes)

        assert first.headers["Location"] == at("examination", draft)
        assert "The chip read, 276 098 109 999 992, is another dog's." in shown
        assert second.headers["Location"] == at("measurements", draft)

    def test_the_examiner_of_the_last_result_is_offered(
        self, club: Club, nurse: Client, draft: Draft
    ) -> None:
        factories.make_submitted(club, examiner="Dr. Piet Larkmoor")

        assert value_of(nurse.get(at("examination", draft)), "examiner") == "Dr. Piet Larkmoor"


class TestMeasurements:
    def test_left_stands_before_right_with_the_side_in_words(
        self, nurse: Client, draft: Draft
    ) -> None:
        page = nurse.get(at("measurements", draft)).content.decode()

        labels = re.findall(r"<label[^>]*>((?:Left|Right)[^<]*)</label>", page)
        assert labels[:2] == ["Left: value", "Right: value"]
        assert [label.split(":")[0] for label in labels] == ["Left", "Right"] * (len(labels) // 2)

    def test_no_box_has_a_spinner_and_numbers_get_a_keypad(
        self, nurse: Client, draft: Draft
    ) -> None:
        page = nurse.get(at("measurements", draft)).content.decode()

        assert 'type="number"' not in page
        assert page.count('inputmode="decimal"') == 14

    @pytest.mark.parametrize("typed", ["0.35", "0,35", " 0.35 "])
    def test_comma_and_point_are_the_same(self, nurse: Client, draft: Draft, typed: str) -> None:
        boxes = {"hip-laxity-left-value": typed, "hip-laxity-right-value": "0.31"}
        response = keep(nurse, draft, "measurements", **boxes)

        assert response.status_code == 302
        assert "left 0.35, right 0.31" in text_of(nurse.get(at("draft", draft)))

    def test_the_index_is_computed_from_radius_and_displacement(
        self, nurse: Client, draft: Draft
    ) -> None:
        boxes = {
            "hip-laxity-left-head_radius_mm": "11,2",
            "hip-laxity-left-displacement_mm": "3.9",
            "hip-laxity-right-value": "0.31",
        }
        keep(nurse, draft, "measurements", **boxes)

        # 3.9 mm / 11.2 mm = 0.348...
        shown = text_of(nurse.get(at("measurements", draft)))
        assert "Computed: left 0.35 (3.9 mm ÷ 11.2 mm), right 0.31" in shown

    @pytest.mark.parametrize(
        ("box", "typed", "words"),
        [
            ("hip-laxity-left-value", "loose", "Enter a number like 0.05."),
            ("hip-laxity-left-value", "31", "This cannot be right"),
            ("hip-laxity-left-value", "0.333", "Enter 0.33 or 0.34."),
            ("hip-laxity-left-head_radius_mm", "11.2", "Enter millimetres, like 11.2."),
            ("norberg-angle-right-value", "105.3", "Enter 105.0 or 105.5."),
            ("hip-grade-extended-left-value", "Z", "Select a valid choice"),
        ],
    )
    def test_a_fault_is_said_and_what_was_typed_stays(
        self, nurse: Client, draft: Draft, box: str, typed: str, words: str
    ) -> None:
        response = keep(nurse, draft, "measurements", **{**MEASUREMENTS, box: typed})

        assert response.status_code == 422
        assert words in text_of(response)
        assert "There is a problem" in text_of(response)
        if "grade" not in box:
            assert value_of(response, box) == typed

    def test_no_reading_at_all_is_an_error(self, nurse: Client, draft: Draft) -> None:
        response = keep(nurse, draft, "measurements")

        assert response.status_code == 422
        assert "at least one" in text_of(response)

    def test_an_unusual_value_is_repeated_back_once_and_not_blocked(
        self, nurse: Client, draft: Draft
    ) -> None:
        boxes = {"hip-laxity-left-value": "1.31", "hip-laxity-right-value": "1.32"}

        first = keep(nurse, draft, "measurements", **boxes)
        shown = text_of(nurse.get(first.headers["Location"]))
        second = keep(nurse, draft, "measurements", **boxes)

        assert first.headers["Location"] == at("measurements", draft)
        assert "Hip laxity, left: 1.31 is outside the usual 0.05 to 1.20." in shown
        assert second.headers["Location"] == at("owner", draft)

    def test_sides_that_were_swapped_since_the_last_examination_are_warned_about(
        self, club: Club, nurse: Client, juno: Dog, draft: Draft
    ) -> None:
        factories.make_accepted(club, juno, left="0.31", right="0.42", examined_on="2025-03-01")
        keep(nurse, draft, "examination", **EXAMINATION)
        boxes = {"hip-laxity-left-value": "0.42", "hip-laxity-right-value": "0.31"}

        response = keep(nurse, draft, "measurements", **boxes)

        shown = text_of(nurse.get(response.headers["Location"]))
        assert "the other way round" in shown
        assert "left 0.42 and right 0.31" in shown

    def test_a_trait_read_too_young_is_warned_about(self, club: Club, nurse: Client) -> None:
        puppy = factories.make_dog(club, born_on=date(2026, 7, 1))
        draft = started(club.nurse, puppy)
        keep(nurse, draft, "examination", **EXAMINATION)

        response = keep(nurse, draft, "measurements", **MEASUREMENTS)

        shown = text_of(nurse.get(response.headers["Location"]))
        assert "the dog was 93 days old; this is read from 112 days of age on" in shown


class TestOwner:
    def test_consent_is_asked_in_plain_words_and_never_assumed(
        self, nurse: Client, draft: Draft
    ) -> None:
        page = nurse.get(at("owner", draft))
        response = keep(nurse, draft, "owner", full_name="Olga Reedmoor")

        assert "the result is not released" in text_of(page)
        assert "checked" not in page.content.decode()
        assert response.status_code == 422
        assert "Choose whether the owner agrees." in text_of(response)

    def test_no_is_an_answer(self, nurse: Client, draft: Draft) -> None:
        assert keep(nurse, draft, "owner", consent="no").status_code == 302
        draft.refresh_from_db()
        assert draft.answers["consent_to_publish"] is False

    @pytest.mark.parametrize(
        ("boxes", "words"),
        [
            ({"email": "olga"}, "Enter a mail address like name@example.org."),
            ({"full_name": ""}, "Enter the owner's full name."),
        ],
    )
    def test_a_fault_is_said(
        self, nurse: Client, draft: Draft, boxes: dict[str, str], words: str
    ) -> None:
        response = keep(nurse, draft, "owner", **{**OWNER, **boxes})

        assert response.status_code == 422
        assert words in text_of(response)


class TestTasks:
    def test_sending_cannot_start_before_the_rest_is_done(
        self, nurse: Client, draft: Draft
    ) -> None:
        before = text_of(nurse.get(at("draft", draft)))
        fill(nurse, draft)
        after = nurse.get(at("draft", draft)).content.decode()

        assert "Cannot start yet" in before
        assert before.count("Not started") == 4
        assert at("check", draft) in after

    def test_the_parts_can_be_done_in_any_order(self, nurse: Client, draft: Draft) -> None:
        keep(nurse, draft, "owner", **OWNER)
        keep(nurse, draft, "measurements", **MEASUREMENTS)
        keep(nurse, draft, "examination", **EXAMINATION)

        assert at("check", draft) in nurse.get(at("draft", draft)).content.decode()

    def test_drafts_are_listed_with_when_they_were_changed(
        self, nurse: Client, draft: Draft
    ) -> None:
        shown = text_of(nurse.get("/clinic/"))

        assert "Tarnfold Juno" in shown
        assert "last changed" in shown

    def test_a_draft_is_thrown_away_only_after_asking(self, nurse: Client, draft: Draft) -> None:
        asked = nurse.get(at("discard", draft))
        assert Draft.objects.filter(pk=draft.pk).exists()

        done = nurse.post(at("discard", draft))

        assert "Throw this draft away?" in text_of(asked)
        assert done.headers["Location"] == "/clinic/"
        assert not Draft.objects.exists()


class TestTwoWindows:
    def test_different_parts_are_both_kept(self, nurse: Client, draft: Draft) -> None:
        page = nurse.get(at("examination", draft))
        base = value_of(page, "base")

        keep(nurse, draft, "owner", **OWNER)
        response = nurse.post(at("examination", draft), {**EXAMINATION, "base": base})

        assert response.status_code == 302
        draft.refresh_from_db()
        assert draft.answers["examiner"] == "Dr. Vera Oakhollow"
        assert draft.answers["owner"]["full_name"] == "Olga Reedmoor"

    def test_the_same_part_shows_both_values_and_loses_neither(
        self, nurse: Client, draft: Draft
    ) -> None:
        base = value_of(nurse.get(at("examination", draft)), "base")
        keep(nurse, draft, "examination", **{**EXAMINATION, "examiner": "Dr. Piet Larkmoor"})

        response = nurse.post(at("examination", draft), {**EXAMINATION, "base": base})

        assert response.status_code == 409
        shown = text_of(response)
        assert "changed in another window" in shown
        assert "Veterinarian Dr. Piet Larkmoor Dr. Vera Oakhollow" in shown
        assert value_of(response, "examiner") == "Dr. Vera Oakhollow"
        draft.refresh_from_db()
        assert draft.answers["examiner"] == "Dr. Piet Larkmoor"

    def test_keeping_again_after_comparing_overwrites(self, nurse: Client, draft: Draft) -> None:
        base = value_of(nurse.get(at("examination", draft)), "base")
        keep(nurse, draft, "examination", **{**EXAMINATION, "examiner": "Dr. Piet Larkmoor"})
        refused = nurse.post(at("examination", draft), {**EXAMINATION, "base": base})

        again = {**EXAMINATION, "base": value_of(refused, "base")}
        response = nurse.post(at("examination", draft), again)

        assert response.status_code == 302
        draft.refresh_from_db()
        assert draft.answers["examiner"] == "Dr. Vera Oakhollow"

    def test_a_form_sent_twice_is_no_conflict(self, nurse: Client, draft: Draft) -> None:
        base = value_of(nurse.get(at("examination", draft)), "base")
        for _click in range(2):
            response = nurse.post(at("examination", draft), {**EXAMINATION, "base": base})
            assert response.status_code == 302
