"""Which dog is it: look up by chip, studbook number or name, and confirm the dog in front of you.

Looking up is a GET and changes nothing, so that a scanner's Enter can do no harm. Only the answer
to "Is this the dog in front of you?" begins a draft.
"""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from registry.desk import dogs as desk
from registry.desk.actor import Actor, clinic_of
from registry.desk.drafts import save_draft, start_draft
from registry.desk.errors import Conflict, Invalid
from registry.desk.known_dogs import dog_by_chip, dog_by_id
from registry.models import Dog, Draft, Sex
from registry.queries.clinic_results import dogs_by_studbook, drafts_of
from registry.queries.search import FoundDog, find_dogs, near_chips
from registry.science.microchip import ChipProblem, parse_chip
from registry.web.clinic import shown
from registry.web.clinic.frame import clinic_page, framed, own_draft
from registry.web.clinic.new_dog import NewDogForm
from registry.web.clinic.progress import look_at, page_of
from registry.wording import dates

_LONGEST = 120


@require_GET
@clinic_page
def identify(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """One box; a scanner's digits and Enter look the dog up and do nothing else."""
    typed = request.GET.get("chip", "").replace("\x00", "")[:_LONGEST].strip()
    draft = own_draft(by, request.GET["draft"]) if request.GET.get("draft") else None
    if draft is not None and draft.sent_as is not None:
        return redirect("clinic:result", draft.sent_as.public_id)
    dog = dog_by_id(request.GET.get("dog", "").replace("\x00", ""))
    found = {} if dog else _look_up(typed)
    dog = dog or found.pop("dog", None)
    problems = found.get("problems", [])
    if not typed and not dog and "chip" in request.GET:
        problems = [("#chip", _("Scan the chip, or type its digits, a studbook number or a name."))]
    context = framed(
        "new",
        typed=typed,
        draft=draft,
        dog=dog,
        dog_facts=shown.dog_facts(dog) if dog else [],
        drafts=drafts_of(clinic_of(by), dog=dog)[:3] if dog and draft is None else [],
        problems=problems,
        kept=f"&draft={draft.public_id}" if draft else "",
        found={"chip": "", "near": [], "named": [], "nothing": False} | found,
    )
    return render(request, "clinic/identify.html", context, status=422 if problems else 200)


@require_http_methods(["GET", "POST"])
@clinic_page
def start(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """The person said that it is this dog: begin a draft, or put the dog into the one at hand.

    A GET comes from a sign-in in between and goes back to the question.
    """
    if request.method == "GET":
        return redirect("clinic:identify")
    dog = dog_by_id(request.POST.get("dog", "").replace("\x00", ""))
    if dog is None:
        raise Http404
    if request.POST.get("draft"):
        return _put_into(by, own_draft(by, request.POST["draft"]), dog)
    draft = start_draft(by=by, dog_id=dog.public_id)
    return redirect("clinic:examination", draft.public_id)


@require_http_methods(["GET", "POST"])
@clinic_page
def register(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Add a dog, to be confirmed by a registrar, and go on with its draft."""
    posted = request.POST if request.method == "POST" else None
    form = NewDogForm(posted, initial={"chip": request.GET.get("chip", "")[:_LONGEST]})
    status, agree = 200, ""
    if posted is not None and "compare" in posted:
        # What a scanner's Enter presses: the two numbers are compared and nothing is registered.
        agree = form.compare()
        status = 422 if form.errors else 200
    elif posted is not None:
        dog = _registered(by, form) if form.is_valid() else None
        if dog is not None:
            draft = start_draft(by=by, dog_id=dog.public_id)
            return redirect("clinic:examination", draft.public_id)
        status = 422
    context = framed("new", form=form, agree=agree)
    return render(request, "clinic/register.html", context, status=status)


def _look_up(typed: str) -> dict[str, Any]:
    """By chip when it is one; else by studbook number, then by name."""
    if not typed:
        return {}
    try:
        chip = parse_chip(typed).text15
    except ChipProblem as problem:
        named = [_choice(dog) for dog in dogs_by_studbook(typed)]
        is_word = problem.code == "letters"
        if not named and is_word:
            named = [_choice(dog) for dog in find_dogs(typed, 10)]
        if named or is_word:
            return {"named": named, "nothing": not named}
        return {"problems": [("#chip", str(problem))]}
    dog = dog_by_chip(chip)
    if dog:
        return {"dog": dog}
    return {
        "chip": chip,
        "near": [_choice(near) for near in near_chips(chip)],
    }


def _choice(dog: Dog | FoundDog) -> dict[str, str]:
    """A dog as a list shows it, with what tells it from its namesakes."""
    if isinstance(dog, Dog):
        breed, sire, dam = (
            dog.breed.name,
            dog.sire.name if dog.sire else "",
            dog.dam.name if dog.dam else "",
        )
    else:
        breed, sire, dam = dog.breed, dog.sire, dog.dam
    born = _("born %(day)s") % {"day": dates.day(dog.born_on)}
    told = [breed, str(Sex(dog.sex).label), born]
    if sire or dam:
        told.append(f"{sire or '?'} × {dam or '?'}")
    return {"public_id": dog.public_id, "name": dog.name, "told": ", ".join(told)}


def _put_into(by: Actor, draft: Draft, dog: Dog) -> HttpResponseBase:
    if draft.sent_as is not None:
        return redirect("clinic:result", draft.sent_as.public_id)
    answers = {**draft.answers, "dog": {"id": dog.public_id}}
    try:
        save_draft(by=by, draft_id=draft.public_id, version=draft.version, answers=answers)
    except Conflict:
        return redirect(page_of("dog", draft) + f"&dog={dog.public_id}")
    is_done = look_at(own_draft(by, draft.public_id)).can_be_sent
    return redirect(reverse(f"clinic:{'check' if is_done else 'draft'}", args=[draft.public_id]))


def _registered(by: Actor, form: NewDogForm) -> Dog | None:
    """The new dog, or None with what is wrong put beside the boxes."""
    try:
        return desk.register_dog(by=by, facts=form.facts())
    except Invalid as error:
        for problem in error.problems:
            name = problem.pointer.strip("/")
            form.add_error(name if name in form.fields else None, problem.message)
    except Conflict:
        form.add_error("chip", _("Another dog was registered with this chip. Look it up again."))
    return None
