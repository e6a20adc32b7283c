"""Signing in and out, one's password, the invitation, one's own account, and the first page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import authenticate, login, logout, update_session_auth_hash
from django.contrib.auth import forms as auth_forms
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import (
    PasswordResetConfirmView,
    PasswordResetView,
)
from django.core.exceptions import ValidationError
from django.db import DatabaseError, connection
from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse, reverse_lazy
from django.utils.decorators import method_decorator
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from readiness.actions import people
from readiness.actions.permissions import MAY
from readiness.models import User
from readiness.web import access, errors
from readiness.web.access import CHOSEN, Here, memberships_of, signed_in
from readiness.web.forms import Form
from readiness.web.navigation import first_page
from readiness.web.preferences import choose_units

WRONG = "The sign-in name and the password that were read do not belong together. Check both; capitals count."
if TYPE_CHECKING:
    _SetPassword = auth_forms.SetPasswordForm[User]  # only the stubs know that it is generic
else:
    _SetPassword = auth_forms.SetPasswordForm
NOBODY = "You belong to no department at present. A chief of yours can invite you."


class SignInForm(Form):
    """A name and a password."""

    saves = False

    name = forms.CharField(
        label="Sign-in name or e-mail",
        max_length=150,
        widget=forms.TextInput({"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}),
    )
    password = forms.CharField(
        max_length=200, strip=False, widget=forms.PasswordInput({"autocomplete": "current-password"})
    )


class NewPasswordForm(Form, _SetPassword):
    """A new password, twice; set by the action."""

    because = "reset password"

    def __init__(self, user: User, *args: Any, **kwargs: Any) -> None:
        super().__init__(user, *args, **kwargs)
        self.fields["new_password1"].help_text = "At least 10 characters; not one that everybody uses, not your name."

    def save(self, commit: bool = True) -> User:
        """Set it and keep that it was set."""
        user = self.user
        people.set_password(user, self.cleaned_data["new_password1"], because=self.because, clock=access.CLOCK)
        return user


class ChangePasswordForm(NewPasswordForm):
    """The old password first."""

    because = "change password"
    old_password = forms.CharField(
        label="Password until now", strip=False, widget=forms.PasswordInput({"autocomplete": "current-password"})
    )
    field_order = ["old_password", "new_password1", "new_password2"]

    def clean_old_password(self) -> str:
        """Refuse a wrong one."""
        old: str = self.cleaned_data["old_password"]
        if not self.user.check_password(old):
            raise ValidationError("What was read is not your password until now. Check it; capitals count.")
        return old


class InvitationForm(NewPasswordForm):
    """The first password, by invitation."""

    because = "accept invitation"


class ResetForm(Form, auth_forms.PasswordResetForm):
    """The address to which a link is mailed."""

    saves = False

    email = forms.EmailField(label="E-mail", max_length=254, widget=forms.EmailInput({"autocomplete": "email"}))


def address_of(request: HttpRequest) -> str:
    """Where the request came from: as the nearest of our own proxies saw it, else as the server sees it."""
    hops = [hop.strip() for hop in request.META.get("HTTP_X_FORWARDED_FOR", "").split(",") if hop.strip()]
    proxies: int = settings.PROXIES
    seen = hops[-proxies] if proxies and len(hops) >= proxies else request.META.get("REMOTE_ADDR", "")
    return str(seen)[:45]


def _throttled(request: HttpRequest, name: str, what: str) -> HttpResponse | None:
    """429 with when to try again, once too many tries failed."""
    until = people.note_attempt(name, address_of(request), clock=access.CLOCK)
    if until is None:
        return None
    wait_s = max(1, int((until - access.CLOCK.now()).total_seconds()) + 1)
    minutes = -(-wait_s // 60)
    sentence = f"{what} failed too often. Try again in {minutes} {'minute' if minutes == 1 else 'minutes'}."
    return errors.too_many(request, sentence, wait_s)


@login_not_required
@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
def sign_in(request: HttpRequest) -> HttpResponseBase:
    """Sign in, or say why not; throttled by name and address."""
    form = SignInForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        name, password = form.cleaned_data["name"].strip(), form.cleaned_data["password"]
        if wait := _throttled(request, name, "Signing in with this name from here"):
            return wait
        user = authenticate(request, username=name, password=password)
        if user is None and name != name.lower():
            user = authenticate(request, username=name.lower(), password=password)
        if isinstance(user, User) and memberships_of(user):
            people.forget_attempts(name, address_of(request))
            login(request, user)
            return redirect(_next(request))
        form.refuse(NOBODY if user else WRONG)
    return render(request, "accounts/sign_in.html", {"form": form, "next": _next(request, "")})


def _next(request: HttpRequest, otherwise: str = "home") -> str:
    """The page that was asked for before, if it is an address of ours: a bare word would be read as a page's name."""
    asked = request.POST.get("next") or request.GET.get("next") or ""
    ours = url_has_allowed_host_and_scheme(asked, {request.get_host()}, require_https=request.is_secure())
    return asked if asked.startswith("/") and ours else otherwise


@login_not_required
@require_POST
def sign_out(request: HttpRequest) -> HttpResponseBase:
    """End the session."""
    logout(request)
    messages.success(request, "You are signed out.")
    return redirect("sign_in")


@require_GET
@signed_in
def home(request: HttpRequest, here: Here) -> HttpResponseBase:
    """To the first page that the role needs."""
    return redirect(first_page(here))


@require_GET
@signed_in
def account(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Who I am here, what I may do, and what I can choose."""
    mine = sorted(action for action, roles in MAY.items() if here.role in roles)
    return render(request, "accounts/account.html", {"here": here, "may": mine})


@require_POST
@signed_in
def choose_department(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Go over to another of one's departments."""
    chosen = request.POST.get("department", "")
    if any(str(each.department_id) == chosen for each in here.memberships):
        request.session[CHOSEN] = int(chosen)
    return redirect("home")


@require_POST
@signed_in
def choose(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Read in US or metric units from now on, and stay on the page."""
    choose_units(request, request.POST.get("units", ""))
    return redirect(_next(request))


@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
@signed_in
def password_change(request: HttpRequest, here: Here) -> HttpResponseBase:
    """A new password for who knows the old one; other sessions of the person end."""
    form = ChangePasswordForm(here.user, request.POST or None)
    if request.method == "POST" and form.is_valid():
        update_session_auth_hash(request, form.save())
        messages.success(request, "Your password is changed. Other devices have to sign in again.")
        return redirect("account")
    return render(request, "accounts/password.html", {"form": form, "title": "Change password"})


@method_decorator(login_not_required, name="dispatch")
class PasswordReset(PasswordResetView):
    """Mails a link; says the same whether there is such a person or not."""

    form_class = ResetForm
    template_name = "accounts/reset.html"
    email_template_name = "accounts/reset_mail.txt"
    subject_template_name = "accounts/reset_subject.txt"
    success_url = reverse_lazy("password_reset_sent")

    def form_valid(self, form: auth_forms.PasswordResetForm) -> HttpResponse:
        """Not more than a few in a quarter of an hour."""
        name = f"reset {form.cleaned_data['email']}"
        if wait := _throttled(self.request, name, "Asking for a new password"):
            return wait
        return super().form_valid(form)


@login_not_required
@require_GET
def password_reset_sent(request: HttpRequest) -> HttpResponseBase:
    """What happens next."""
    return render(request, "accounts/reset_sent.html", {"mail_is_sent": settings.MAIL_IS_SENT})


@method_decorator(login_not_required, name="dispatch")
class PasswordResetConfirm(PasswordResetConfirmView):
    """The link of the mail: a new password, once."""

    form_class = NewPasswordForm
    template_name = "accounts/password.html"
    extra_context = {"title": "New password"}
    success_url = reverse_lazy("sign_in")

    def form_valid(self, form: _SetPassword) -> HttpResponse:
        """Say that it worked."""
        messages.success(self.request, "Your password is set. Sign in with it.")
        return super().form_valid(form)


@login_not_required
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
def accept_invitation(request: HttpRequest, token: str) -> HttpResponseBase:
    """The link of an invitation: the first password, once."""
    user = people.invited_by(token)
    if user is None:
        return render(request, "accounts/dead_link.html", status=410)
    form = InvitationForm(user, request.POST or None)
    if request.method == "POST" and form.is_valid():
        login(request, form.save(), backend=settings.AUTHENTICATION_BACKENDS[0])
        return redirect("home")
    context = {"form": form, "title": f"Welcome, {user.get_full_name() or user}", "name": user.username}
    return render(request, "accounts/password.html", context)


def invitation_address(request: HttpRequest, token: str) -> str:
    """The whole address of an invitation, as it is mailed."""
    return request.build_absolute_uri(reverse("accept_invitation", args=[token]))


@login_not_required
@require_GET
def healthz(request: HttpRequest) -> HttpResponseBase:
    """For a supervisor: 200 when the database answers, else 503 with a sentence."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        sentence = "The database does not answer. Check that it runs and that DATABASE_URL names it."
        return JsonResponse({"healthy": False, "sentence": sentence}, status=503)
    return JsonResponse({"healthy": True})


urlpatterns = [
    path("", home, name="home"),
    path("account/", account, name="account"),
    path("account/department/", choose_department, name="choose_department"),
    path("account/units/", choose, name="choose_units"),
    path("account/password/", password_change, name="password_change"),
    path("sign-in/", sign_in, name="sign_in"),
    path("sign-out/", sign_out, name="sign_out"),
    path("password/", PasswordReset.as_view(), name="password_reset"),
    path("password/sent/", password_reset_sent, name="password_reset_sent"),
    path("password/<uidb64>/<token>/", PasswordResetConfirm.as_view(), name="password_reset_confirm"),
    path("invitation/<str:token>/", accept_invitation, name="accept_invitation"),
    path("healthz", healthz, name="healthz"),
]
