"""What every page of the secretary's room shares: the role check, the navigation, one kind of form
page."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec

from allauth.core.exceptions import ReauthenticationRequired
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from registry.desk.actor import Actor
from registry.desk.errors import Conflict, Invalid, NotFound, Refused
from registry.models import Role
from registry.web.account.adapters import was_proved_lately
from registry.web.acting import page_for
from registry.web.forms import PlainForm

P = ParamSpec("P")

secretary_page = page_for(Role.SECRETARY)


def fresh_proof(
    view: Callable[Concatenate[HttpRequest, Actor, P], HttpResponseBase],
) -> Callable[Concatenate[HttpRequest, Actor, P], HttpResponseBase]:
    """Ask who one is, unless that was proved a short while ago: for roles, tokens and second steps.

    What was sent is kept meanwhile and done afterwards.
    """

    @wraps(view)
    def page(
        request: HttpRequest, by: Actor, /, *args: P.args, **kwargs: P.kwargs
    ) -> HttpResponseBase:
        if not was_proved_lately(request):
            raise ReauthenticationRequired
        return view(request, by, *args, **kwargs)

    return page


def framed(current: str, **context: Any) -> dict[str, Any]:
    """The context with the room's navigation; ``current`` names the section shown."""
    names = {
        "home": _("Overview"),
        "health": _("Health"),
        "people": _("People"),
        "owners": _("Owners"),
        "clinics": _("Clinics"),
        "breeds": _("Breeds"),
        "traits": _("Traits"),
        "breeding": _("Breeding"),
        "pedigree": _("Pedigree"),
        "tokens": _("Tokens"),
        "mail": _("Mail"),
    }
    sections = [
        (reverse(f"secretary:{name}"), label, name == current) for name, label in names.items()
    ]
    return {"sections": sections, **context}


def form_page(
    request: HttpRequest,
    form: PlainForm,
    deed: Callable[[dict[str, Any]], str],
    *,
    section: str,
    title: str,
    label: str,
    back: str,
    intro: str = "",
    is_danger: bool = False,
) -> HttpResponseBase:
    """Show the form; when it was sent, do the deed and go back with what it says it did.

    Faults that the desk names stand at their field, and what was typed stays.
    """
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                done = deed(form.cleaned_data)
            except NotFound as error:
                raise Http404 from error
            except Invalid as error:
                for problem in error.problems:
                    name = problem.pointer.strip("/")
                    form.add_error(name if name in form.fields else None, problem.message)
            except (Conflict, Refused) as error:
                status = 409
                form.add_error(None, str(error))
            else:
                messages.success(request, done)
                return redirect(back)
    context = framed(
        section,
        form=form,
        title=title,
        label=label,
        back=back,
        intro=intro,
        kind="danger" if is_danger else "",
    )
    return render(request, "secretary/form.html", context, status=status)
