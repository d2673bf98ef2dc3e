"""Passwords: choose one by a link from a mail, ask for such a link, change one's own."""

from __future__ import annotations

from allauth.core import ratelimit
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from registry.desk import sign_in as desk
from registry.desk.errors import Invalid, NotFound
from registry.web.account import devices
from registry.web.account.adapters import forget_failures
from registry.web.account.forms import ChangeForm, ForgottenForm, NewPasswordForm
from registry.web.account.kept import OWN_SECTIONS, keep_session
from registry.web.acting import signed_in_person
from registry.web.forms import posted


@login_not_required
@never_cache
@require_http_methods(["GET", "POST"])
def forgotten(request: HttpRequest) -> HttpResponseBase:
    """Ask for a link by mail. The answer is the same whether or not anybody is known."""
    form = ForgottenForm(posted(request))
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            asked = form.cleaned_data["asked"]
            if ratelimit.consume(request, action="reset_password", key=asked.strip().casefold()):
                desk.ask_for_link(asked=asked)
                return redirect("link-sent")
            status = 429
            form.add_error(None, _("You have asked often in the last hour. Wait a little."))
    return render(request, "account/forgotten.html", {"form": form}, status=status)


@login_not_required
@never_cache
@require_http_methods(["GET"])
def link_sent(request: HttpRequest) -> HttpResponseBase:
    """What happens next."""
    return render(request, "account/link_sent.html")


@login_not_required
@sensitive_post_parameters()
@never_cache
@require_http_methods(["GET", "POST"])
def welcome(request: HttpRequest, subject_id: str, token: str) -> HttpResponseBase:
    """Choose a password by a link from a mail; the sign-in comes next, with its second step."""
    user = desk.user_of_link(subject_id, token)
    if user is None:
        return render(request, "account/link_ended.html", status=404)
    form = NewPasswordForm(posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            user = desk.take_link(
                subject_id=subject_id,
                token=token,
                password=form.cleaned_data["password"],
                request_id=getattr(request, "request_id", ""),
            )
        except NotFound:
            return render(request, "account/link_ended.html", status=404)
        except Invalid as error:
            for problem in error.problems:
                form.add_error("password", problem.message)
        else:
            forget_failures(request, user)
            answer = redirect("password-chosen")
            devices.know(answer, user.username)
            return answer
    status = 422 if request.method == "POST" else 200
    context = {"form": form, "person": user}
    return render(request, "account/welcome.html", context, status=status)


@login_not_required
@never_cache
@require_http_methods(["GET"])
def chosen(request: HttpRequest) -> HttpResponseBase:
    """The password is chosen."""
    return render(request, "account/chosen.html")


@sensitive_post_parameters()
@never_cache
@require_http_methods(["GET", "POST"])
def change(request: HttpRequest) -> HttpResponseBase:
    """A new password of one's own, with the one that holds."""
    user = signed_in_person(request)
    form = ChangeForm(user, posted(request))
    if request.method == "POST" and form.is_valid():
        by = desk.person(user, request_id=getattr(request, "request_id", ""))
        try:
            changed = desk.change_password(by=by, password=form.cleaned_data["password"])
        except Invalid as error:
            for problem in error.problems:
                form.add_error("password", problem.message)
        else:
            keep_session(request, changed)
            messages.success(request, _("The password is changed. You are signed out elsewhere."))
            return redirect("mfa_index")
    status = 422 if request.method == "POST" else 200
    context = {"form": form, "sections": OWN_SECTIONS}
    return render(request, "account/password.html", context, status=status)
