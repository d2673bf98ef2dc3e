"""Choose a dog, its candidate mates, one pair, pairs side by side, a litter: parse, read, render.

An impossible pair is answered in words and with status 422, an unknown dog with 404.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from registry.queries import mates as candidates
from registry.queries.breed_counts import BreedCounts, breed_counts
from registry.queries.breeding import RunFacts, latest_run
from registry.queries.forecast_checks import forecast_outcomes
from registry.queries.held_values import held_values
from registry.queries.litter_shares import birth_years
from registry.queries.pairs import NoAnswer, PairFacts, Why, run_of
from registry.queries.pairs import pair as facts_of_pair
from registry.queries.public import PublicDog, Relative, ReleasedValue, family_of
from registry.queries.public_dogs import (
    dog_with_chip,
    merged_into,
    public_dog,
    public_traits,
)
from registry.queries.released import released_values
from registry.queries.run_lines import run_lines
from registry.queries.search import find_by_chip_end, find_dogs
from registry.science.distribution import Histogram
from registry.science.microchip import ChipProblem, parse_chip
from registry.telling.breeding import run_line_words, run_words, why_words
from registry.telling.litter_mates import litter_mates_told
from registry.telling.litter_shares import caution
from registry.telling.mates import mates_told
from registry.telling.pairs import pair_told, pairs_told
from registry.web.breeder.filters import NAMES, MateFilters, chosen
from registry.web.buyer.budget import count_chip, counted
from registry.web.buyer.open_page import open_page

Context = dict[str, Any]

MOST_PAIRS = 4
_MOST_FOUND = 20
_MOST_TICKED = 50
_LONGEST_QUERY = 120


@open_page
def choose(request: HttpRequest) -> HttpResponseBase:
    """Choose a dog by name or chip; what these pages can and cannot do."""
    typed = " ".join(request.GET.get("q", "").split())[:_LONGEST_QUERY]
    try:
        digits = parse_chip(typed, allow_test=True).text15
    except ChipProblem:
        digits = ""
    if typed:
        count_chip(request, digits)
    if digits and (found := dog_with_chip(digits)):
        return redirect("breeder:mates", found)
    context = {
        "typed": typed,
        "dogs": find_by_chip_end(typed, _MOST_FOUND) or find_dogs(typed, _MOST_FOUND),
        "runs": [(run, run_line_words(run)) for run in run_lines()],
    }
    return render(request, "breeder/choose.html", context)


@open_page
@counted
def mates(request: HttpRequest, public_id: str) -> HttpResponseBase:
    """The candidate mates of a dog, filtered and ranked."""
    dog = _dog(public_id)
    context: Context = {
        "dog": dog,
        "form": None,
        "told": None,
        "reason": None,
        "run": None,
        "few_tested": (),
    }
    try:
        run = run_of(dog)
        context |= {"run": run_words(run), "few_tested": _few_tested(dog)}
        if not run.traits:
            context["reason"] = why_words(NoAnswer(Why.NO_VALUES))
            return render(request, "breeder/mates.html", context)
        form = MateFilters(
            request.GET.dict(), dog=dog, traits=[facts.trait for facts in run.traits]
        )
        context["form"] = form
        if form.is_valid():
            context |= _list(request, dog, run, form)
    except NoAnswer as answer:
        context |= {"reason": why_words(answer), "form": None}
    return render(request, "breeder/mates.html", context)


@open_page
@counted
def pair(request: HttpRequest, public_id: str, other_id: str) -> HttpResponseBase:
    """One pair: the litter to expect, or why there is no forecast."""
    dog, other = _dog(public_id), _dog(other_id)
    context: Context = {
        "dog": dog,
        "other": other,
        "told": None,
        "reason": None,
        "run": None,
        "few_tested": (),
    }
    try:
        facts = facts_of_pair(dog, other)
    except NoAnswer as answer:
        context["reason"] = why_words(answer)
        return render(request, "breeder/pair.html", context, status=_status(answer))
    context |= {"run": run_words(facts.run), "few_tested": _few_tested(dog)}
    context["told"] = pair_told(
        facts,
        first_trait=request.GET.get("trait", ""),
        histograms=_histograms(dog),
        released=_released([dog, other]),
        outcomes=forecast_outcomes(dog.breed_id),
        today=timezone.localdate(),
    )
    return render(request, "breeder/pair.html", context)


def _few_tested(dog: PublicDog) -> tuple[str, ...]:
    """What forecasts of the breed cannot know, where few of its puppies were tested."""
    return caution(birth_years(dog.breed_id), timezone.localdate().year)


@open_page
@counted
def pairs(request: HttpRequest, public_id: str) -> HttpResponseBase:
    """Up to four mates of a dog side by side."""
    dog = _dog(public_id)
    ids = list(dict.fromkeys(request.GET.getlist("mate")))[:_MOST_TICKED]
    ticked = [mate for mate in (_found(each) for each in ids) if mate is not None]
    kept = [(name, request.GET[name]) for name in NAMES if name in request.GET]
    context: Context = {
        "dog": dog,
        "back": f"{reverse('breeder:mates', args=[dog.public_id])}{_query(request)}",
        "problem": _problem_of(len(ticked)),
        "chosen": ticked,
        "kept": kept,
        "told": None,
        "run": None,
    }
    if context["problem"]:
        return render(request, "breeder/pairs.html", context, status=422)
    run = latest_run(dog.breed_id)
    context["run"] = run_words(run) if run else None
    context["told"] = pairs_told(
        dog,
        [(mate, _answer(dog, mate)) for mate in ticked],
        trait=_trait(run, request.GET.get("trait", "")),
        histograms=_histograms(dog),
        released=_released(ticked),
        today=timezone.localdate(),
    )
    return render(request, "breeder/pairs.html", context)


@open_page
@counted
def litter(request: HttpRequest, public_id: str) -> HttpResponseBase:
    """The tested puppies of the dog's litter, compared."""
    dog = _dog(public_id)
    traits = [trait for trait in public_traits() if trait.is_counted]
    own = Relative(
        relation="litter",
        public_id=dog.public_id,
        name=dog.name,
        sex=dog.sex,
        born_on=dog.born_on,
        values=released_values([dog.pk], traits)[dog.pk],
    )
    others = [each for each in family_of(dog, traits) if each.relation == "litter"]
    litter = sorted([own, *others], key=lambda each: each.name)
    told = litter_mates_told(dog, litter, traits, _counts_for(dog, litter))
    return render(request, "breeder/litter.html", {"dog": dog, "told": told})


def _list(request: HttpRequest, dog: PublicDog, run: RunFacts, form: MateFilters) -> Context:
    number = request.GET.get("page", "1")
    page = int(number) if number.isdecimal() and len(number) < 9 else 1
    found = candidates.mates(
        dog,
        trait=form.cleaned_data["trait"],
        wishes=form.wishes(),
        today=timezone.localdate(),
        first=max(page - 1, 0) * candidates.PER_PAGE,
        run=run,
    )
    paginator = Paginator(range(found.matching), candidates.PER_PAGE)
    return {
        "told": mates_told(dog, found),
        "page": paginator.get_page(found.first // candidates.PER_PAGE + 1),
        "chosen": chosen(form),
    }


def _dog(public_id: str) -> PublicDog:
    """The dog with this id, also where its entry was merged into another; or 404."""
    dog = _found(public_id)
    if dog is None:
        raise Http404
    return dog


def _found(public_id: str) -> PublicDog | None:
    if "\x00" in public_id:
        return None
    dog = public_dog(public_id)
    if dog is None and (heir := merged_into(public_id)):
        return public_dog(heir)
    return dog


def _answer(dog: PublicDog, mate: PublicDog) -> PairFacts | NoAnswer:
    try:
        return facts_of_pair(dog, mate)
    except NoAnswer as answer:
        return answer


def _status(answer: NoAnswer) -> int:
    """What the reader can put right is 422; what waits for the club is no fault of theirs."""
    is_wrong_pair = answer.why in {Why.SAME_DOG, Why.SAME_SEX, Why.OTHER_BREED, Why.DEAD_DAM}
    return 422 if is_wrong_pair else 200


def _problem_of(ticked: int) -> list[tuple[str, str]]:
    if not ticked:
        return [("#chosen", _("Tick one to four mates in the list first."))]
    if ticked > MOST_PAIRS:
        message = _("You ticked %(ticked)d mates. Untick some, so that four or fewer are left.")
        return [("#chosen", message % {"ticked": ticked})]
    return []


def _query(request: HttpRequest) -> str:
    query = request.GET.copy()
    query.pop("mate", None)
    return f"?{query.urlencode()}" if query else ""


def _trait(run: RunFacts | None, asked: str) -> str:
    slugs = [facts.trait.slug for facts in run.traits] if run else []
    return asked if asked in slugs or not slugs else slugs[0]


def _histograms(dog: PublicDog) -> dict[int, Histogram]:
    counts = breed_counts(dog.breed_id, window_months=dog.window_months, now=timezone.now())
    return counts.by_trait


def _counts_for(dog: PublicDog, litter: Sequence[Relative]) -> BreedCounts:
    """The breed's counts, and which of the litter's values they hold."""
    now = timezone.now()
    exams = {value.evaluation_id or 0 for each in litter for value in each.values}
    held = held_values(exams, at=now)
    counts = breed_counts(dog.breed_id, window_months=dog.window_months, now=now)
    return replace(counts, held=held)


def _released(dogs: Sequence[PublicDog]) -> dict[int, tuple[ReleasedValue, ...]]:
    traits = [trait for trait in public_traits() if trait.is_counted]
    return released_values([dog.pk for dog in dogs], traits)
