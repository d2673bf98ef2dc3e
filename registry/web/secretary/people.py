"""People: open an account, give and end roles, set a password anew, close an account."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_http_methods

from registry.desk import people as desk
from registry.desk.actor import Actor
from registry.models import Clinic, Membership, Role, User
from registry.web.forms import PlainForm, posted, set_choices
from registry.web.secretary.frame import form_page, framed, secretary_page

_PASSWORD_HINT = gettext_lazy("At least 15 characters. A sentence is easy to keep in mind.")


class PersonForm(PlainForm):
    """A new account."""

    full_name = forms.CharField(label=gettext_lazy("Full name"), max_length=120)
    login = forms.CharField(label=gettext_lazy("Login"), max_length=60)
    email = forms.CharField(label=gettext_lazy("Mail address"), max_length=254)
    password = forms.CharField(
        label=gettext_lazy("First password"),
        help_text=_PASSWORD_HINT,
        max_length=200,
        strip=False,
    )


class RoleForm(PlainForm):
    """A role for a person; clinic staff need a clinic."""

    role = forms.ChoiceField(
        label=gettext_lazy("Role"), choices=Role.choices, widget=forms.RadioSelect
    )
    clinic = forms.ChoiceField(
        label=gettext_lazy("Clinic"),
        help_text=gettext_lazy("For clinic staff only."),
        required=False,
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        clinics = Clinic.objects.values_list("public_id", "name")
        set_choices(self, "clinic", [("", "–"), *clinics])


class PasswordForm(PlainForm):
    """A new password."""

    password = forms.CharField(
        label=gettext_lazy("New password"), help_text=_PASSWORD_HINT, max_length=200, strip=False
    )


@require_GET
@secretary_page
def everybody(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """All accounts with their roles."""
    users = User.objects.prefetch_related("memberships__clinic").order_by("full_name", "pk")
    return render(request, "secretary/people.html", framed("people", users=users))


@require_http_methods(["GET", "POST"])
@secretary_page
def new(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Open an account."""

    def deed(given: dict[str, Any]) -> str:
        user = desk.open_account(by=by, **given)
        return _("%(name)s has an account. Now give them a role.") % {"name": user.full_name}

    return form_page(
        request,
        PersonForm(posted(request)),
        deed,
        section="people",
        title=_("Open an account"),
        label=_("Open the account"),
        back=reverse("secretary:people"),
        intro=_("Tell the person the password yourself. They can change it after signing in."),
    )


@require_GET
@secretary_page
def person(request: HttpRequest, by: Actor, user_id: int) -> HttpResponseBase:
    """One person: roles held and ended, tokens, and what can be done."""
    user = _user(user_id)
    memberships = user.memberships.select_related("clinic").prefetch_related("tokens")
    context = framed(
        "people",
        person=user,
        memberships=memberships.order_by("-started_at"),
        is_self=user.pk == by.user_pk,
    )
    return render(request, "secretary/person.html", context)


@require_http_methods(["GET", "POST"])
@secretary_page
def appoint(request: HttpRequest, by: Actor, user_id: int) -> HttpResponseBase:
    """Give the person a role."""
    user = _user(user_id)

    def deed(given: dict[str, Any]) -> str:
        held = desk.appoint(
            by=by, user_id=user_id, role=Role(given["role"]), clinic_id=given["clinic"]
        )
        return _("%(name)s is now %(role)s.") % {
            "name": user.full_name,
            "role": Role(held.role).label,
        }

    return form_page(
        request,
        RoleForm(posted(request)),
        deed,
        section="people",
        title=_("Give %(name)s a role") % {"name": user.full_name},
        label=_("Give this role"),
        back=reverse("secretary:person", args=[user_id]),
    )


@require_http_methods(["GET", "POST"])
@secretary_page
def password(request: HttpRequest, by: Actor, user_id: int) -> HttpResponseBase:
    """Set the person's password anew."""
    user = _user(user_id)

    def deed(given: dict[str, Any]) -> str:
        desk.set_password(by=by, user_id=user_id, password=given["password"])
        return _("The password is set. All their sessions have ended.")

    return form_page(
        request,
        PasswordForm(posted(request)),
        deed,
        section="people",
        title=_("A new password for %(name)s") % {"name": user.full_name},
        label=_("Set the password"),
        back=reverse("secretary:person", args=[user_id]),
    )


@require_http_methods(["GET", "POST"])
@secretary_page
def close(request: HttpRequest, by: Actor, user_id: int) -> HttpResponseBase:
    """End all roles and tokens and refuse further sign-ins."""
    user = _user(user_id)

    def deed(given: dict[str, Any]) -> str:
        desk.close_account(by=by, user_id=user_id)
        return _("The account is closed.")

    return form_page(
        request,
        PlainForm(posted(request)),
        deed,
        section="people",
        title=_("Close the account of %(name)s?") % {"name": user.full_name},
        label=_("Close the account"),
        back=reverse("secretary:person", args=[user_id]),
        intro=_("All their roles, tokens and sessions end at once. What they did stays on record."),
        is_danger=True,
    )


@require_http_methods(["GET", "POST"])
@secretary_page
def end(request: HttpRequest, by: Actor, membership_id: int) -> HttpResponseBase:
    """End one role."""
    held = Membership.objects.select_related("user", "clinic").filter(pk=membership_id).first()
    if held is None:
        raise Http404

    def deed(given: dict[str, Any]) -> str:
        desk.end_membership(by=by, membership_id=membership_id)
        return _("The role has ended.")

    return form_page(
        request,
        PlainForm(posted(request)),
        deed,
        section="people",
        title=_("End this role of %(name)s?") % {"name": held.user.full_name},
        label=_("End the role"),
        back=reverse("secretary:person", args=[held.user_id]),
        intro=_("%(role)s. The tokens of this role end with it.")
        % {"role": Role(held.role).label.capitalize()},
        is_danger=True,
    )


def _user(user_id: int) -> User:
    user = User.objects.filter(pk=user_id).first()
    if user is None:
        raise Http404
    return user
