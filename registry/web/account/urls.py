"""The paths of sign-in and account. The names of those the library leads to are the library's."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from registry.web.account import factors, password, sessions, sign_in

urlpatterns = [
    path("sign-in/", sign_in.SignIn.as_view(), name="account_login"),
    path("sign-in/code/", sign_in.SecondStep.as_view(), name="mfa_authenticate"),
    path("sign-in/passkey/", sign_in.PasskeySignIn.as_view(), name="mfa_login_webauthn"),
    path("sign-in/forgotten/", password.forgotten, name="forgotten"),
    path("sign-in/forgotten/sent/", password.link_sent, name="link-sent"),
    path("sign-in/again/", sign_in.PasswordAgain.as_view(), name="account_reauthenticate"),
    path("sign-in/again/code/", sign_in.CodeAgain.as_view(), name="mfa_reauthenticate"),
    path(
        "sign-in/again/passkey/",
        sign_in.PasskeyAgain.as_view(),
        name="mfa_reauthenticate_webauthn",
    ),
    path("sign-out/", LogoutView.as_view(next_page="/"), name="sign-out"),
    path("welcome/chosen/", password.chosen, name="password-chosen"),
    path("welcome/<slug:subject_id>/<str:token>/", password.welcome, name="welcome"),
    path("rooms/", sign_in.rooms, name="rooms"),
    path("account/", factors.overview, name="mfa_index"),
    path("account/password/", password.change, name="change-password"),
    path("account/app/", factors.AddApp.as_view(), name="mfa_activate_totp"),
    path("account/app/remove/", factors.RemoveApp.as_view(), name="mfa_deactivate_totp"),
    path("account/passkeys/new/", factors.AddPasskey.as_view(), name="mfa_add_webauthn"),
    path(
        "account/passkeys/<int:pk>/remove/",
        factors.RemovePasskey.as_view(),
        name="mfa_remove_webauthn",
    ),
    path("account/codes/", factors.ShowCodes.as_view(), name="mfa_view_recovery_codes"),
    path("account/codes/new/", factors.NewCodes.as_view(), name="mfa_generate_recovery_codes"),
    path("account/sessions/end/", sessions.end_all, name="end-sessions"),
    path("account/sessions/<int:session_pk>/end/", sessions.end_one, name="end-session"),
]
