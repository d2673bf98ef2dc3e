"""Sign in and out; after signing in each person lands in the room of their role."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from registry.models import Role
from registry.web.acting import CHOSEN_CLINIC, memberships_of

ROOMS = {
    Role.CLINIC: "clinic:home",
    Role.REGISTRAR: "registrar:queue",
    Role.SECRETARY: "secretary:home",
}


class SignInForm(AuthenticationForm):
    """Login and password; which of the two is wrong is never said."""

    error_messages = {
        "invalid_login": gettext_lazy(
            "Login and password do not fit together. Check both; capitals matter in the password."
        ),
        "inactive": gettext_lazy("This account is closed. Ask the secretary."),
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
        self.use_required_attribute = False
        self.fields["username"].label = _("Login")
        self.fields["password"].label = _("Password")
        for name in ("username", "password"):
            self.fields[name].error_messages["required"] = _("Fill in “%(label)s”.") % {
                "label": self.fields[name].label
            }


@method_decorator([login_not_required, sensitive_post_parameters(), never_cache], name="dispatch")
class SignIn(LoginView):
    """The sign-in page."""

    template_name = "sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True
    next_page = "rooms"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """The base page's names. Django's view brings a ``site`` of another kind; ours stays."""
        context = super().get_context_data(**kwargs)
        del context["site"], context["site_name"]
        return {**context, "current": "sign-in"}

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        """The page again, with the status of input that could not be taken."""
        response = super().form_invalid(form)
        response.status_code = 422
        return response


@never_cache
@require_http_methods(["GET", "POST"])
def rooms(request: HttpRequest) -> HttpResponseBase:
    """Lead a person with one role to its room; let one with several choose."""
    held = memberships_of(request)
    if request.method == "POST":
        for membership in held:
            if str(membership.pk) == request.POST.get("role"):
                if membership.clinic is not None:
                    request.session[CHOSEN_CLINIC] = membership.clinic.public_id
                return redirect(ROOMS[Role(membership.role)])
    if len(held) == 1:
        return redirect(ROOMS[Role(held[0].role)])
    return render(request, "rooms.html", {"held": held, "sections": []})


urlpatterns = [
    path("sign-in/", SignIn.as_view(), name="sign-in"),
    path("sign-out/", LogoutView.as_view(next_page="/"), name="sign-out"),
    path("rooms/", rooms, name="rooms"),
]
