"""What every request passes: headers, static files, the size of an upload, and who may go through which door."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import resolve_url
from whitenoise.middleware import WhiteNoiseMiddleware

from readiness.actions.permissions import NotAllowed
from readiness.web import errors
from readiness.web.access import NoDepartment, tablet_of
from readiness.web.guards import refuse_weak_key
from readiness.web.queued import MARK
from readiness.workbooks.guard import MOST_BYTES

Respond = Callable[[HttpRequest], HttpResponseBase]

POLICY = "; ".join(
    (
        "default-src 'self'",
        "connect-src 'self'",
        "worker-src 'self'",
        "manifest-src 'self'",
        "style-src 'self'",
        "script-src 'self'",
        "img-src 'self' data:",
        "object-src 'none'",
        "frame-ancestors 'none'",
        "form-action 'self'",
        "base-uri 'none'",
    )
)
MOST_REQUEST_BYTES = MOST_BYTES + 1_000_000  # a workbook with the rest of its form around it


class Headers:
    """The content security policy on every answer, errors and static files too; pages are not kept by browsers."""

    def __init__(self, respond: Respond) -> None:
        refuse_weak_key()
        self.respond = respond

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer, with headers."""
        response = self.respond(request)
        response.headers["Content-Security-Policy"] = POLICY
        response.headers.setdefault("X-Frame-Options", "DENY")  # on refusals that no further middleware sees, too
        response.headers.setdefault("Permissions-Policy", "camera=(self), geolocation=(), microphone=()")
        response.headers.setdefault("Cache-Control", "no-store")  # a station's tablet has many hands
        return response


class StaticFiles(WhiteNoiseMiddleware):
    """WhiteNoise, silent about the folder that exists only once static files were collected."""

    def add_files(self, root: Any, prefix: str | None = None) -> None:
        """Add a folder that is there."""
        if Path(root).is_dir():
            super().add_files(root, prefix)


class UploadLimit:
    """Refuses a body that is too large before anything reads it."""

    def __init__(self, respond: Respond) -> None:
        self.respond = respond

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer, or 413 with a sentence."""
        try:
            length = int(request.META.get("CONTENT_LENGTH") or 0)
        except ValueError:
            length = 0
        if length > MOST_REQUEST_BYTES:
            return errors.too_large(request, length)
        return self.respond(request)


class PlainText:
    """Leaves NUL characters out of what is asked for: no name holds one, and PostgreSQL refuses to look for it."""

    def __init__(self, respond: Respond) -> None:
        self.respond = respond

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer what is left of the question."""
        request.META["QUERY_STRING"] = request.META.get("QUERY_STRING", "").replace("%00", "")
        return self.respond(request)


class Doors:
    """Every page asks for a sign-in unless its view says otherwise; NotAllowed becomes a 403 with its sentence."""

    def __init__(self, respond: Respond) -> None:
        self.respond = respond

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer."""
        return self.respond(request)

    def process_view(self, request: HttpRequest, view: Any, *_: Any) -> HttpResponseBase | None:
        """Send a stranger to the sign-in page."""
        if not getattr(view, "login_required", True) or request.user.is_authenticated or tablet_of(request):
            return None
        if request.method == "POST" and MARK in request.POST:
            return errors.sign_in_first(request)
        return redirect_to_login(request.get_full_path(), resolve_url("sign_in"))

    def process_exception(self, request: HttpRequest, raised: Exception) -> HttpResponseBase | None:
        """Turn what a view let through into a page."""
        if isinstance(raised, NotAllowed):
            return errors.forbidden(request, raised)
        if isinstance(raised, NoDepartment):
            return errors.no_department(request)
        return None
