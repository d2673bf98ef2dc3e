"""Tokens for programs: made for a role, shown once, ended at any time."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_http_methods

from registry.desk import people as desk
from registry.desk.actor import Actor
from registry.desk.errors import Invalid, NotFound
from registry.models import ApiToken, Membership
from registry.web.forms import PlainForm, posted, set_choices
from registry.web.secretary.frame import form_page, framed, fresh_proof, secretary_page


class TokenForm(PlainForm):
    """What the token is for, what it may do, and for how long."""

    name = forms.CharField(
        label=gettext_lazy("What it is for"),
        help_text=gettext_lazy("For example: the practice software at the front desk"),
        max_length=80,
    )
    scopes = forms.MultipleChoiceField(
        label=gettext_lazy("What it may do"), widget=forms.CheckboxSelectMultiple
    )
    days = forms.IntegerField(
        label=gettext_lazy("Days until it ends"),
        min_value=1,
        max_value=desk.LONGEST_TOKEN_DAYS,
        initial=365,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )

    def __init__(self, membership: Membership, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        allowed = [scope for scope, roles in desk.SCOPES.items() if membership.role in roles]
        set_choices(self, "scopes", [(scope, scope) for scope in allowed])


@require_GET
@secretary_page
def all_tokens(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Every token with its role, its end and its last use."""
    tokens = ApiToken.objects.select_related("membership__user", "membership__clinic")
    context = framed("tokens", tokens=tokens, now=timezone.now())
    return render(request, "secretary/tokens.html", context)


@require_http_methods(["GET", "POST"])
@secretary_page
@fresh_proof
def new(request: HttpRequest, by: Actor, membership_id: int) -> HttpResponseBase:
    """Make a token; its secret is on the answer to this request and nowhere else, ever."""
    held = (
        Membership.objects.select_related("user", "clinic")
        .filter(pk=membership_id, ended_at__isnull=True)
        .first()
    )
    if held is None:
        raise Http404
    form = TokenForm(held, posted(request))
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                issued = desk.issue_token(by=by, membership_id=membership_id, **form.cleaned_data)
            except NotFound as error:
                raise Http404 from error
            except Invalid as error:
                for problem in error.problems:
                    form.add_error(problem.pointer.strip("/") or None, problem.message)
            else:
                context = framed("tokens", issued=issued, held=held)
                return render(request, "secretary/token_issued.html", context)
    context = framed(
        "tokens",
        form=form,
        title=_("A token for a program"),
        label=_("Make the token"),
        back=reverse("secretary:person", args=[held.user_id]),
        intro=_("It acts as %(who)s in this role. It is shown once: copy it at once.")
        % {"who": held.user.full_name},
        kind="",
    )
    return render(request, "secretary/form.html", context, status=status)


@require_http_methods(["GET", "POST"])
@secretary_page
def revoke(request: HttpRequest, by: Actor, token_id: int) -> HttpResponseBase:
    """End a token now."""
    token = ApiToken.objects.filter(pk=token_id).first()
    if token is None:
        raise Http404

    def deed(given: dict[str, Any]) -> str:
        desk.revoke_token(by=by, token_id=token_id)
        return _("The token has ended.")

    return form_page(
        request,
        PlainForm(posted(request)),
        deed,
        section="tokens",
        title=_("End the token “%(name)s”?") % {"name": token.name},
        label=_("End the token"),
        back=reverse("secretary:tokens"),
        intro=_("The program that uses it is refused from now on."),
        is_danger=True,
    )
