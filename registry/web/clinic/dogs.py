"""Which dog is it: look up by chip, confirm the dog in front of you, or register one."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from registry.desk import dogs as desk
from registry.desk.actor import Actor
from registry.desk.drafts import start_draft
from registry.desk.errors import Conflict, Invalid
from registry.models import Breed, Dog, Sex
from registry.queries.search import find_dogs, near_chips
from registry.science.microchip import ChipProblem, parse_chip
from registry.web.clinic.frame import clinic_page, framed
from registry.web.forms import PlainDateField, PlainForm, set_choices


class NewDogForm(PlainForm):
    """A dog the register does not have. Its chip is typed twice: it has no check digit."""

    chip = forms.CharField(label=gettext_lazy("Chip number"), max_length=40)
    chip_again = forms.CharField(
        label=gettext_lazy("The chip number once more"),
        help_text=gettext_lazy("Read it off the scanner again; do not copy it."),
        max_length=40,
    )
    name = forms.CharField(label=gettext_lazy("Registered name"), max_length=120)
    breed = forms.ChoiceField(label=gettext_lazy("Breed"))
    sex = forms.ChoiceField(
        label=gettext_lazy("Sex"), choices=Sex.choices, widget=forms.RadioSelect
    )
    born_on = PlainDateField(label=gettext_lazy("Born on"))
    colour = forms.CharField(label=gettext_lazy("Colour"), max_length=60, required=False)
    studbook_number = forms.CharField(
        label=gettext_lazy("Studbook number"), max_length=40, required=False
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        set_choices(self, "breed", [("", "–"), *Breed.objects.values_list("slug", "name")])

    def clean(self) -> dict[str, Any]:
        """Both chip numbers must be the same number, however each was typed."""
        given = super().clean() or {}
        try:
            one, two = (parse_chip(given.get(name, "")) for name in ("chip", "chip_again"))
        except ChipProblem as problem:
            if "chip" in given and "chip_again" in given:
                self.add_error("chip", str(problem))
        else:
            if one != two:
                message = _("The two chip numbers differ. Read the chip again.")
                self.add_error("chip_again", message)
        return given


@require_GET
@clinic_page
def identify(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """One box; a scanner's digits and Enter look the dog up and do nothing else."""
    typed = request.GET.get("chip", "").replace("\x00", "")[:120].strip()
    context: dict[str, Any] = {"typed": typed, "dog": None, "near": [], "named": []}
    problems: list[tuple[str, str]] = []
    chip = ""
    if typed:
        try:
            chip = parse_chip(typed).text15
        except ChipProblem as problem:
            context["named"] = find_dogs(typed) if any(map(str.isalpha, typed)) else []
            if not context["named"]:
                problems = [("#chip", str(problem))]
        else:
            found = Dog.objects.select_related("breed", "sire", "dam").filter(chip=chip)
            context["dog"] = found.first()
            if context["dog"] is None:
                context["near"] = near_chips(chip)
    chosen = request.GET.get("dog", "")
    if chosen:
        found = Dog.objects.select_related("breed", "sire", "dam").filter(public_id=chosen)
        context["dog"] = found.first()
    context = framed("new", **context, chip=chip, problems=problems)
    return render(request, "clinic/identify.html", context, status=422 if problems else 200)


@require_POST
@clinic_page
def start(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """The person said that it is this dog: begin a draft."""
    draft = start_draft(by=by, dog_id=request.POST.get("dog", ""))
    return redirect("clinic:draft", draft.public_id)


@require_http_methods(["GET", "POST"])
@clinic_page
def register(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Add a dog, to be confirmed by a registrar, and go on with its draft."""
    form = NewDogForm(request.POST or None, initial={"chip": request.GET.get("chip", "")[:40]})
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            given = dict(form.cleaned_data)
            del given["chip_again"]
            try:
                dog = desk.register_dog(by=by, facts=desk.DogFacts(**given))
            except Invalid as error:
                for problem in error.problems:
                    name = problem.pointer.strip("/")
                    form.add_error(name if name in form.fields else None, problem.message)
            except Conflict as error:
                form.add_error("chip", str(error))
            else:
                draft = start_draft(by=by, dog_id=dog.public_id)
                return redirect("clinic:draft", draft.public_id)
    return render(request, "clinic/register.html", framed("new", form=form), status=status)
