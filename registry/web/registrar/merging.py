"""Two entries of one dog: choose the other one, see both side by side, merge them with a reason."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponseBase, QueryDict
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_http_methods

from registry.desk.actor import Actor
from registry.desk.errors import Conflict, Invalid, NotFound, Refused
from registry.desk.known_dogs import dog_by_id
from registry.desk.merge import Against, against, merge_dogs
from registry.models import Dog, Draft
from registry.queries.search import FoundDog, find_by_chip, find_dogs
from registry.web.forms import PlainForm, set_choices
from registry.web.registrar.dogs import facts_of
from registry.web.registrar.frame import framed, registrar_page

_MOST_FOUND = 20


class MergeForm(PlainForm):
    """The reason, what is confirmed, and the versions that were compared."""

    confirmed = forms.MultipleChoiceField(
        label=gettext_lazy("Look at these first, then tick what is right"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    reason = forms.CharField(
        label=gettext_lazy("Why these are one dog"),
        help_text=gettext_lazy("It is shown on the dog's page. Name no person."),
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": gettext_lazy("Say why these are one dog.")},
    )
    version = forms.IntegerField(widget=forms.HiddenInput)
    other_version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, said: Against, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if said.doubts:
            set_choices(self, "confirmed", said.doubts.items())
        else:
            del self.fields["confirmed"]


@dataclass(frozen=True, slots=True)
class Compared:
    """One fact of both entries. ``differs`` when both say something and not the same; ``taken``
    when only the other entry says it, so that it is taken over."""

    term: str
    kept: str
    other: str
    differs: bool
    taken: bool


@require_http_methods(["GET", "POST"])
@registrar_page
def merge(request: HttpRequest, by: Actor, dog_id: str) -> HttpResponseBase:
    """Choose the other entry; then compare; then merge. The address names both."""
    kept = _dog(dog_id)
    other = dog_by_id(request.GET.get("other", "").replace("\x00", ""))
    if other is None or other.pk == kept.pk:
        return _choose(request, kept)
    said = against(kept, other)
    initial = {"version": kept.version, "other_version": other.version}
    form = MergeForm(said, request.POST if request.method == "POST" else None, initial=initial)
    refusal, status = "", 200
    if request.method == "POST":
        refusal, status = _merge(by, kept, other, form)
        if status == 302:
            messages.success(request, _("The two entries are merged."))
            return redirect("registrar:dog", dog_id)
        if status == 409:
            # What was typed stays; sending it again is a decision made with the new facts seen.
            form = MergeForm(said, _with_versions(request.POST, _dog(dog_id), other.public_id))
    context = framed(
        "",
        dog=kept,
        other=other,
        rows=_compared(kept, other),
        moves=_moves(other),
        said=said,
        form=form,
        refusal=refusal,
    )
    return render(request, "registrar/merge.html", context, status=status)


def _merge(by: Actor, kept: Dog, other: Dog, form: MergeForm) -> tuple[str, int]:
    """Merge; returns why not, and the status of the answer."""
    if not form.is_valid():
        return "", 422
    given = form.cleaned_data
    try:
        merge_dogs(
            by=by,
            keep=kept.public_id,
            drop=other.public_id,
            versions=(given["version"], given["other_version"]),
            reason=given["reason"],
            confirmed=given.get("confirmed", ()),
        )
    except NotFound as error:
        raise Http404 from error
    except (Conflict, Refused) as error:
        return str(error), 409
    except Invalid as error:
        for problem in error.problems:
            name = problem.pointer.strip("/")
            form.add_error(name if name in form.fields else None, problem.message)
        return "", 422
    return "", 302


def _choose(request: HttpRequest, kept: Dog) -> HttpResponseBase:
    typed = " ".join(request.GET.get("q", "").replace("\x00", "").split())[:120]
    found = [dog for dog in _found(typed) if dog.public_id != kept.public_id]
    context = framed("", dog=kept, typed=typed, found=found)
    return render(request, "registrar/merge_choose.html", context)


def _found(typed: str) -> list[FoundDog]:
    if not typed:
        return []
    by_chip = find_by_chip(typed)
    if by_chip is not None:
        return [by_chip]
    by_id = dog_by_id(typed)
    if by_id is not None:
        return [each for each in find_dogs(by_id.name, 50) if each.public_id == by_id.public_id]
    return find_dogs(typed, _MOST_FOUND)


def _compared(kept: Dog, other: Dog) -> list[Compared]:
    name = Compared(_("Name"), kept.name, other.name, kept.name != other.name, taken=False)
    pairs = zip(facts_of(kept), facts_of(other), strict=True)
    return [
        name,
        *(
            Compared(
                one.term,
                one.value,
                two.value,
                differs=bool(one.value and two.value and one.value != two.value),
                taken=bool(two.value and not one.value),
            )
            for one, two in pairs
        ),
    ]


def _moves(other: Dog) -> list[str]:
    results = other.evaluations.count()
    young = other.sired.count() + other.whelped.count()
    drafts = Draft.objects.filter(dog=other).count()
    lines = [
        ngettext("%(count)d result", "%(count)d results", results) % {"count": results},
        ngettext("%(count)d of its offspring", "%(count)d of its offspring", young)
        % {"count": young},
    ]
    if drafts:
        lines.append(
            ngettext("%(count)d draft of a clinic", "%(count)d drafts of clinics", drafts)
            % {"count": drafts}
        )
    return lines


def _with_versions(sent: QueryDict, kept: Dog, other_id: str) -> QueryDict:
    changed = sent.copy()
    other = dog_by_id(other_id)
    changed["version"] = str(kept.version)
    changed["other_version"] = str(other.version if other else 0)
    return changed


def _dog(dog_id: str) -> Dog:
    found = dog_by_id(dog_id)
    if found is None:
        raise Http404
    return found
