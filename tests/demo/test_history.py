"""The invented club's days: everything in an order that could have been, nothing of tomorrow."""

from collections import Counter, defaultdict
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest
from django.conf import settings

from registry.demo.cases import invent_club
from registry.demo.history import Happening, history, later, opened_on, working_day
from registry.demo.scenario import Club
from registry.demo.words import read_words
from registry.science.working_days import working_days_between

# A Tuesday, a Monday after a leap day's weekend, and a New Year's Day.
DAYS = [date(2026, 12, 1), date(2028, 3, 6), date(2027, 1, 1)]


def make_club(today: date, size: int = 500) -> Club:
    words = read_words(settings.BASE_DIR / "fixtures" / "demo.json")
    return invent_club(words, today=today, size=size, seed=words.seed)


@pytest.fixture(scope="module", params=DAYS, ids=str)
def club(request: pytest.FixtureRequest) -> Club:
    return make_club(request.param)


@pytest.fixture(scope="module")
def told(club: Club) -> list[Happening]:
    return history(club, np.random.default_rng(1))


def days_of(told: list[Happening], what: str) -> dict[int, date]:
    return {each.exam: each.at.date() for each in told if each.what == what}


def test_it_is_the_same_for_the_same_seed_and_day(club: Club, told: list[Happening]) -> None:
    again = make_club(club.today)

    assert history(again, np.random.default_rng(1)) == told
    assert history(again, np.random.default_rng(2)) != told


def test_everything_took_place_between_the_opening_and_today_on_working_days(
    club: Club, told: list[Happening]
) -> None:
    opened = opened_on(club)
    owners = {"release", "withhold"}

    assert [each.at for each in told] == sorted(each.at for each in told)
    assert opened <= told[0].at.date()
    assert told[-1].at.date() < club.today
    assert all(each.at.weekday() < 5 for each in told if each.what not in owners)
    years = {each.at.year for each in told if each.what == "accept"}
    assert len(years) >= club.words.years_of_results


def test_a_dog_is_registered_once_after_its_parents_and_before_anybody_needs_it(
    club: Club, told: list[Happening]
) -> None:
    at = {each.dog: each.at for each in told if each.what == "register"}
    added = {exam.dog for exam in club.exams if exam.case == "dog_unconfirmed"}

    assert Counter(each.what for each in told)["register"] == len(club.dogs) - len(added)
    assert set(at) == {dog.key for dog in club.dogs} - added
    for dog in club.dogs:
        if dog.key in at:
            assert at[dog.key].date() > dog.born_on
            assert all(at[p] < at[dog.key] for p in (dog.sire, dog.dam) if p is not None)
    for each in told:
        if each.what not in ("register", "half_year", "quarter") and each.dog not in added:
            assert at[each.dog] < each.at, each


def test_a_result_is_announced_examined_sent_and_decided_on_in_that_order(
    club: Club, told: list[Happening]
) -> None:
    announced, sent = days_of(told, "announce"), days_of(told, "send")
    decided = {
        exam: day
        for what in ("accept", "decline", "return")
        for exam, day in days_of(told, what).items()
    }

    assert set(sent) == set(range(len(club.exams)))
    for exam, day in announced.items():
        if exam >= 0:
            examined = club.exams[exam].examined_on
            assert examined - timedelta(weeks=8) <= day <= examined
    assert all(day >= club.exams[exam].examined_on for exam, day in sent.items())
    assert all(day >= sent[exam] for exam, day in decided.items())


def test_answers_take_some_working_days(club: Club, told: list[Happening]) -> None:
    sent, accepted = days_of(told, "send"), days_of(told, "accept")
    plain = [exam for exam in accepted if club.exams[exam].fate == "accepted"]
    waits = np.array([working_days_between(sent[exam], accepted[exam]) for exam in plain])

    assert 3 <= np.median(waits) <= 6
    assert np.percentile(waits, 95) > 7
    assert waits.max() <= 22


def test_what_came_after_an_approval_is_spread_over_the_years(
    club: Club, told: list[Happening]
) -> None:
    accepted = days_of(told, "accept")
    for what in ("revoke", "replace", "release", "withhold"):
        days = days_of(told, what)
        assert days, what
        assert all(day > accepted[exam] for exam, day in days.items())
    changed = [each.at.year for each in told if each.what in ("release", "withhold")]
    assert len(set(changed)) >= 4


def test_some_owners_change_their_mind_twice() -> None:
    club = make_club(DAYS[0], size=3000)
    minds: dict[int, list[str]] = defaultdict(list)
    for each in history(club, np.random.default_rng(1)):
        if each.what in ("release", "withhold"):
            minds[each.exam].append(each.what)

    assert ["withhold", "release"] in minds.values()
    assert all(first != after for told in minds.values() for first, after in pairwise(told))


def test_each_half_year_has_breeding_values_and_each_quarter_a_sealed_log(
    club: Club, told: list[Happening]
) -> None:
    count = Counter(each.what for each in told)

    assert 2 * club.words.years_of_results - 1 <= count["half_year"] <= 24
    assert count["quarter"] >= 4 * club.words.years_of_results - 1
    assert {each.at.month for each in told if each.what == "half_year"} == {1, 7}


def test_working_days_are_monday_to_friday() -> None:
    saturday = date(2026, 11, 28)

    assert working_day(saturday) == date(2026, 11, 30)
    assert working_day(date(2026, 11, 27)) == date(2026, 11, 27)
    assert later(date(2026, 11, 27), 1) == date(2026, 11, 30)
    assert later(saturday, 0) == date(2026, 11, 27)
