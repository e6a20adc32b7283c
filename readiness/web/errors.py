"""Pages for what goes wrong: each says what happened and what to do. The one for 500 asks no database anything."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib.auth import logout
from django.contrib.staticfiles.storage import staticfiles_storage
from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string

from readiness.actions.permissions import NotAllowed
from readiness.web.queued import MARK, queued_of
from readiness.web.references import new_reference
from readiness.workbooks.guard import MOST_BYTES

ENDED = "Your membership in this department has ended, so you were signed out. Your chief can invite you again."


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """400, or 413 where the body was too large."""
    if isinstance(exception, RequestDataTooBig):
        return too_large(request)
    return _plain(request, "errors/400.html", 400)


def forbidden(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """403 with the sentence of who may do it."""
    said = isinstance(exception, NotAllowed | PermissionDenied) and str(exception)
    if said and (queued := queued_of(request)):
        queued.sentences.append(said)
    return render(request, "errors/403.html", {"sentence": said or "Your role may not do this."}, status=403)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """404: not there, or another department's; which of the two is not said."""
    return render(request, "errors/404.html", status=404)


def too_large(request: HttpRequest, length: int | None = None) -> HttpResponse:
    """413, with what was sent and what is taken."""
    sizes = {"sent_mb": None if length is None else f"{length / 1e6:.1f}", "most_mb": MOST_BYTES // 1_000_000}
    return _plain(request, "errors/413.html", 413, sizes)


def too_many(request: HttpRequest, sentence: str, wait_s: int) -> HttpResponse:
    """429 with when to try again."""
    response = _plain(request, "errors/429.html", 429, {"sentence": sentence})
    response.headers["Retry-After"] = str(wait_s)
    return response


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """403 for a form that came without this browser's token: an old page, another tab's sign-in, or no cookies."""
    if queued := queued_of(request):
        queued.token_refused = True
    return keep_on_device(request, _plain(request, "errors/csrf.html", 403))


def keep_on_device(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """Tell a device that what it sent was not taken for want of a sign-in, so that it keeps it in its queue."""
    if MARK in request.POST:
        response.headers["Keep-Entry"] = "yes"
    return response


def sign_in_first(request: HttpRequest) -> HttpResponse:
    """401 for a form that its device keeps until somebody has signed in; whoever reads it is told so, too."""
    return keep_on_device(request, _plain(request, "errors/401.html", 401))


def no_department(request: HttpRequest) -> HttpResponse:
    """Sign out who belongs to no department any more."""
    logout(request)
    return render(request, "errors/403.html", {"sentence": ENDED, "signed_out": True}, status=403)


def server_error(request: HttpRequest) -> HttpResponse:
    """500: works with the database down, and shows the reference that the log holds beside the traceback."""
    request.reference = new_reference()  # type: ignore[attr-defined] # read by WithReference when Django logs it
    return _plain(request, "errors/500.html", 500, {"reference": request.reference})  # type: ignore[attr-defined]


def _plain(request: HttpRequest, template: str, status: int, more: dict[str, Any] | None = None) -> HttpResponse:
    """A page that needs no session and no database: rendered without the request's context."""
    context = {"css": _css(), "status": status, **(more or {})}
    return HttpResponse(render_to_string(template, context), status=status)


def _css() -> str:
    """The address of the style sheet; a missing manifest must not spoil the page that tells of trouble."""
    try:
        return staticfiles_storage.url("readiness/site.css")
    except ValueError:
        return f"{settings.STATIC_URL}readiness/site.css"
