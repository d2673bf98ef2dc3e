"""Owners' data: find a person, show all that is held, put it right, erase it with a look before;
and mail private links once more."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_GET, require_http_methods

from registry.desk import personal as desk
from registry.desk.actor import Actor
from registry.desk.errors import NotFound, Refused
from registry.desk.owner_links import send_links_again
from registry.models import Owner, User
from registry.queries.personal import Held, held_of_owner, held_of_user, owners_like
from registry.web.deeds import done_from
from registry.web.forms import PlainForm, posted
from registry.web.secretary.frame import form_page, framed, secretary_page

_KINDS = {
    "owner": gettext_lazy("Owner's record"),
    "account": gettext_lazy("Account"),
    "role": gettext_lazy("Role"),
    "token": gettext_lazy("Token for a program"),
    "result": gettext_lazy("Result of a dog"),
    "mail": gettext_lazy("Mail"),
    "audit trail": gettext_lazy("Words beside the audit trail"),
    "text of a result": gettext_lazy("Words in a result"),
    "reason of an announcement": gettext_lazy("Words in an announcement"),
    "draft": gettext_lazy("Draft of a clinic"),
    "file name": gettext_lazy("Name of a file"),
    "kept answer": gettext_lazy("Answer kept for a program"),
}
# What stays when a person is erased: it is the dog's, or says only that somebody acted.
_STAYS = frozenset({"result", "role"})


class OwnerForm(PlainForm):
    """An owner's name and mail address."""

    full_name = forms.CharField(label=gettext_lazy("Full name"), max_length=120)
    email = forms.CharField(label=gettext_lazy("Mail address"), max_length=254, required=False)
    reason = forms.CharField(label=gettext_lazy("Why it is changed"), max_length=500)


@require_GET
@secretary_page
def owners(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Find an owner by name or mail address."""
    typed = request.GET.get("q", "")[:120]
    context = framed("owners", typed=typed, owners=owners_like(typed))
    return render(request, "secretary/owners.html", context)


@require_GET
@secretary_page
def owner(request: HttpRequest, by: Actor, owner_id: str) -> HttpResponseBase:
    """All that is held on an owner."""
    found = _owner(owner_id)
    context = framed(
        "owners",
        name=found.full_name,
        rows=_rows(held_of_owner(found)),
        back=reverse("secretary:owners"),
        links=reverse("secretary:send-links", args=[owner_id]),
        correct=reverse("secretary:correct-owner", args=[owner_id]),
        erase=reverse("secretary:erase-owner", args=[owner_id]),
    )
    return render(request, "secretary/held.html", context)


@require_GET
@secretary_page
def held_of_person(request: HttpRequest, by: Actor, user_id: int) -> HttpResponseBase:
    """All that is held on a person with an account."""
    found = _user(user_id)
    context = framed(
        "people",
        name=found.full_name,
        rows=_rows(held_of_user(found)),
        back=reverse("secretary:person", args=[user_id]),
        links="",
        correct="",
        erase=reverse("secretary:erase-person", args=[user_id]) if user_id != by.user_pk else "",
    )
    return render(request, "secretary/held.html", context)


@require_http_methods(["GET", "POST"])
@secretary_page
def correct(request: HttpRequest, by: Actor, owner_id: str) -> HttpResponseBase:
    """Put an owner's data right."""
    found = _owner(owner_id)
    initial = {"full_name": found.full_name, "email": found.email}

    def deed(given: dict[str, Any]) -> str:
        desk.correct_owner(by=by, owner_id=owner_id, **given)
        return _("The data is put right.")

    return form_page(
        request,
        OwnerForm(posted(request), initial=initial),
        deed,
        section="owners",
        title=_("Put the data of %(name)s right") % {"name": found.full_name},
        label=_("Save"),
        back=reverse("secretary:owner", args=[owner_id]),
    )


@require_http_methods(["GET", "POST"])
@secretary_page
@done_from("secretary:owner", "owner_id")
def send_links(request: HttpRequest, by: Actor, owner_id: str) -> HttpResponseBase:
    """Mail an owner who lost them the private links again."""
    try:
        sent = send_links_again(by=by, owner_id=owner_id)
    except NotFound as error:
        raise Http404 from error
    except Refused as error:
        messages.error(request, str(error))
    else:
        words = ngettext(
            "A mail with the private link is on its way.",
            "%(count)d mails with private links are on their way.",
            sent,
        )
        messages.success(request, words % {"count": sent})
    return redirect("secretary:owner", owner_id)


@require_http_methods(["GET", "POST"])
@secretary_page
def erase(request: HttpRequest, by: Actor, owner_id: str) -> HttpResponseBase:
    """Erase an owner, after saying what goes and what stays."""
    found = _owner(owner_id)
    return _erase_page(
        request,
        found.full_name,
        held_of_owner(found),
        lambda: desk.erase_owner(by=by, owner_id=owner_id),
        section="owners",
        held=reverse("secretary:owner", args=[owner_id]),
    )


@require_http_methods(["GET", "POST"])
@secretary_page
def erase_person(request: HttpRequest, by: Actor, user_id: int) -> HttpResponseBase:
    """Erase a person with an account, after saying what goes and what stays."""
    found = _user(user_id)
    return _erase_page(
        request,
        found.full_name,
        held_of_user(found),
        lambda: desk.erase_user(by=by, user_id=user_id),
        section="people",
        held=reverse("secretary:held-of-person", args=[user_id]),
    )


def _erase_page(
    request: HttpRequest,
    name: str,
    found: list[Held],
    erase: Callable[[], desk.Erased],
    *,
    section: str,
    held: str,
) -> HttpResponseBase:
    """Ask once more, then erase; the person's own page is gone afterwards."""
    return form_page(
        request,
        PlainForm(posted(request)),
        lambda _given: _done(erase()),
        section=section,
        title=_("Erase %(name)s?") % {"name": name},
        label=_("Erase for good"),
        back=reverse(f"secretary:{section}") if request.method == "POST" else held,
        intro=_preview(found),
        is_danger=True,
    )


def _rows(held: list[Held]) -> list[dict[str, Any]]:
    return [
        {"what": _KINDS[each.what], "text": each.text, "about": each.about, "at": each.at}
        for each in held
    ]


def _preview(held: list[Held]) -> str:
    """What goes and what stays, in words."""
    stays = sum(each.what in _STAYS for each in held)
    return _(
        "The name and the mail address go from %(goes)d places, at once and for good. %(stays)d"
        " entries of results and roles stay, without a name. The audit trail still adds up"
        " afterwards. Backups made before keep the words until they are thrown away."
    ) % {"goes": len(held) - stays, "stays": stays}


def _done(erased: desk.Erased) -> str:
    places = (
        erased.ledger_texts
        + erased.mails
        + erased.results
        + erased.drafts
        + erased.names
        + erased.answers
    )
    return _("Erased, and the words taken out of %(places)d other places.") % {"places": places}


def _owner(owner_id: str) -> Owner:
    found = Owner.objects.filter(public_id=owner_id, erased_at__isnull=True).first()
    if found is None:
        raise Http404
    return found


def _user(user_id: int) -> User:
    found = User.objects.filter(pk=user_id).exclude(full_name="").first()
    if found is None:
        raise Http404
    return found
