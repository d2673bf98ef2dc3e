"""People: invite, give and end roles, send a link for a new password, remove lost second steps,
close an account."""

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
from registry.desk import sign_in
from registry.desk.actor import Actor
from registry.models import Clinic, Membership, Role, User
from registry.queries.second_steps import has_second_step
from registry.web.forms import PlainForm, posted, set_choices
from registry.web.secretary.frame import form_page, framed, fresh_proof, secretary_page


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


class InvitationForm(RoleForm):
    """A new person with their first role."""

    full_name = forms.CharField(label=gettext_lazy("Full name"), max_length=120)
    login = forms.CharField(
        label=gettext_lazy("Login"),
        help_text=gettext_lazy("What they type to sign in: small letters, digits, dots and dashes"),
        max_length=60,
    )
    email = forms.CharField(label=gettext_lazy("Mail address"), max_length=254)
    field_order = ("full_name", "login", "email", "role", "clinic")


class ReasonForm(PlainForm):
    """Why second steps are removed."""

    reason = forms.CharField(
        label=gettext_lazy("How did you make sure that it is this person who asks?"),
        help_text=gettext_lazy("For example: we spoke face to face at the club's meeting"),
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 3}),
    )


@require_GET
@secretary_page
def everybody(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """All accounts with their roles."""
    users = User.objects.prefetch_related("memberships__clinic").order_by("full_name", "pk")
    return render(request, "secretary/people.html", framed("people", users=users))


@require_http_methods(["GET", "POST"])
@secretary_page
@fresh_proof
def new(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Invite a person by mail."""

    def deed(given: dict[str, Any]) -> str:
        clinic_id = given.pop("clinic")
        role = Role(given.pop("role"))
        user = desk.invite(by=by, role=role, clinic_id=clinic_id, **given)
        return _("%(name)s gets a mail with a link to choose a password.") % {
            "name": user.full_name
        }

    return form_page(
        request,
        InvitationForm(posted(request)),
        deed,
        section="people",
        title=_("Invite a person"),
        label=_("Send the invitation"),
        back=reverse("secretary:people"),
        intro=_("Nobody but the person learns the password: they choose it by a link in a mail."),
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
        is_waiting=not user.has_usable_password(),
        has_second_step=has_second_step(user),
    )
    return render(request, "secretary/person.html", context)


@require_http_methods(["GET", "POST"])
@secretary_page
@fresh_proof
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
def link(request: HttpRequest, by: Actor, user_id: int) -> HttpResponseBase:
    """Mail the person a link to choose a password."""
    user = _user(user_id)

    def deed(given: dict[str, Any]) -> str:
        sign_in.send_link(by=by, user_id=user_id)
        return _("The mail with the link is on its way.")

    return form_page(
        request,
        PlainForm(posted(request)),
        deed,
        section="people",
        title=_("Send %(name)s a link to choose a password?") % {"name": user.full_name},
        label=_("Send the link"),
        back=reverse("secretary:person", args=[user_id]),
        intro=_("It goes to %(email)s and works once and for two days. The old password holds on.")
        % {"email": user.email},
    )


@require_http_methods(["GET", "POST"])
@secretary_page
def sessions(request: HttpRequest, by: Actor, user_id: int) -> HttpResponseBase:
    """Sign the person out everywhere."""
    user = _user(user_id)

    def deed(given: dict[str, Any]) -> str:
        sign_in.end_sessions_of(by=by, user_id=user_id)
        return _("All their sessions have ended.")

    return form_page(
        request,
        PlainForm(posted(request)),
        deed,
        section="people",
        title=_("Sign %(name)s out everywhere?") % {"name": user.full_name},
        label=_("Sign them out"),
        back=reverse("secretary:person", args=[user_id]),
        intro=_("For a stolen telephone, or a computer that was left open. They can sign in anew."),
    )


@require_http_methods(["GET", "POST"])
@secretary_page
@fresh_proof
def steps(request: HttpRequest, by: Actor, user_id: int) -> HttpResponseBase:
    """Remove the second steps of somebody who lost telephone and codes."""
    user = _user(user_id)

    def deed(given: dict[str, Any]) -> str:
        sign_in.remove_second_steps(by=by, user_id=user_id, reason=given["reason"])
        return _("Removed. They sign in with their password and set up a new one.")

    return form_page(
        request,
        ReasonForm(posted(request)),
        deed,
        section="people",
        title=_("Remove the second steps of %(name)s?") % {"name": user.full_name},
        label=_("Remove passkeys, app and codes"),
        back=reverse("secretary:person", args=[user_id]),
        intro=_(
            "Only if telephone and recovery codes are lost. Whoever asks may be somebody else: do "
            "not go by a mail or a call alone. All sessions end, and a mail tells the person."
        ),
        is_danger=True,
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
