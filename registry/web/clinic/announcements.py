"""Announce an examination before its result is known, begin its result, or withdraw it."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from registry.desk import announce as desk
from registry.desk.actor import Actor, clinic_of
from registry.desk.drafts import start_draft
from registry.desk.errors import Conflict, Invalid, NotFound
from registry.desk.known_dogs import dog_by_id
from registry.models import Announcement
from registry.web.clinic import shown
from registry.web.clinic.frame import clinic_page, framed
from registry.web.forms import PlainDateField, PlainForm, posted
from registry.wording import dates


class AnnounceForm(PlainForm):
    """The day on which the dog will be examined."""

    examined_on = PlainDateField(
        label=gettext_lazy("Day of the examination"),
        error_messages={"required": gettext_lazy("Enter the day of the examination.")},
    )


class CallOffForm(PlainForm):
    """Why the examination does not take place."""

    reason = forms.CharField(
        label=gettext_lazy("Why you withdraw this announcement"),
        help_text=gettext_lazy("It is shown on the dog's page. Name no person."),
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=4000,
        error_messages={"required": gettext_lazy("Say why the examination does not take place.")},
    )


@require_http_methods(["GET", "POST"])
@clinic_page
def new(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """The dog was looked up; give the day. Without a dog it goes back to the look-up."""
    given = request.POST if request.method == "POST" else request.GET
    dog = dog_by_id(given.get("dog", "").replace("\x00", ""))
    if dog is None:
        return redirect("clinic:identify")
    today = dates.day(timezone.localdate())
    form = AnnounceForm(posted(request), initial={"examined_on": today})
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            day = form.cleaned_data["examined_on"]
            try:
                made = desk.announce(by=by, dog_id=dog.public_id, examined_on=day)
            except Invalid as error:
                for problem in error.problems:
                    name = problem.pointer.strip("/")
                    form.add_error(name if name in form.fields else None, problem.message)
            except Conflict as error:
                form.add_error(None, str(error))
                status = 409
            else:
                messages.success(
                    request,
                    _("The examination of %(dog)s on %(day)s is announced.")
                    % {"dog": made.dog.name, "day": dates.day(day)},
                )
                return redirect("clinic:home")
    context = framed("home", dog=dog, dog_facts=shown.dog_facts(dog), form=form)
    return render(request, "clinic/announce.html", context, status=status)


@require_http_methods(["GET", "POST"])
@clinic_page
def begin(request: HttpRequest, by: Actor, announcement_id: str) -> HttpResponseBase:
    """Begin the result of an announced examination: dog and day are filled in.

    A GET comes from a sign-in in between and goes back to the list.
    """
    found = _own(by, announcement_id)
    if request.method == "GET" or not found.is_open:
        return redirect("clinic:home")
    # A day to come is left open: nothing can have been examined on it yet.
    day = found.examined_on if found.examined_on <= timezone.localdate() else None
    draft = start_draft(by=by, dog_id=found.dog.public_id, examined_on=day)
    return redirect("clinic:examination", draft.public_id)


@require_http_methods(["GET", "POST"])
@clinic_page
def withdraw(request: HttpRequest, by: Actor, announcement_id: str) -> HttpResponseBase:
    """Withdraw an open announcement, with a reason that everybody can read."""
    found = _own(by, announcement_id)
    if not found.is_open:
        messages.error(request, _("This announcement cannot be withdrawn any more."))
        return redirect("clinic:home")
    form = CallOffForm(posted(request))
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            reason = form.cleaned_data["reason"]
            try:
                desk.withdraw_announcement(by=by, announcement_id=announcement_id, reason=reason)
            except NotFound as error:
                raise Http404 from error
            except (Conflict, Invalid) as error:
                form.add_error(None, str(error))
                status = 409
            else:
                messages.success(request, _("The announcement is withdrawn."))
                return redirect("clinic:home")
    context = framed("home", announcement=found, form=form)
    return render(request, "clinic/call_off.html", context, status=status)


def _own(by: Actor, announcement_id: str) -> Announcement:
    own = Announcement.objects.filter(clinic_id=clinic_of(by), public_id=announcement_id)
    found = own.select_related("dog").first()
    if found is None:
        raise Http404
    return found
