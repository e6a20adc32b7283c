"""No signal: what a crew's device keeps, and the one answer that its queue understands.

1. `sw.js` keeps a copy of each page that `Keep` marks, and shows it when the server cannot be reached. A form that is
   marked `data-queued` and cannot be sent is kept on the device, with the sign-in under which it was made.
2. It is sent to its own address with the headers of `web/queued.py`. `Queue` lets the page answer as always and says in
   JSON what came of it: posted, posted before, refused with the sentences, sign in, somebody else's, PIN, or later.
3. An entry leaves the queue only when its own number comes back.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final, cast

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect, render
from django.templatetags.static import static
from django.urls import path, reverse
from django.views.decorators.http import require_GET, require_POST

from readiness.actions.drafts import Refused
from readiness.actions.permissions import Acting
from readiness.actions.photos import keep_photo
from readiness.actions.queue import came_directly, hold_form, note_outcome, take_from_queue, was_entered
from readiness.actions.tablets import people_at
from readiness.models.movements import Identity
from readiness.web import access
from readiness.web.access import Here, here_or_none, may
from readiness.web.queued import MARK, BadQueue, Queued, queued_of, read_queued
from readiness.web.tablets import PERSON, PIN, people

_SCRIPT: Final = Path(__file__).parent / "static" / "readiness" / "worker.js"
KEPT: Final = frozenset(  # the pages of which a crew's device keeps a copy
    {
        *("crew_unit", "check_unit", "after_use", "refill", "raise_deficiency", "log_inspection"),
        *("open", "flush", "use", "inspections", "write_note", "notes"),
    }
)
EVERYBODYS: Final = "everybody"  # a page that is the same for all, and stays when somebody else signs in
DECIDE: Final = (
    "It asks for a decision that only its page can take. Open it and answer there, or hand it to the company officer."
)


# -- what a device may keep --------------------------------------------------------------------------------------------


class Keep:
    """Says on the crew's pages for whom a device may keep them, and on any page of nobody's that all are to go."""

    def __init__(self, respond: Any) -> None:
        self.respond = respond

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer, with the header."""
        response: HttpResponseBase = self.respond(request)
        whose = _kept_for(request, response)
        if whose:
            response.headers["Keep-For"] = whose
        return response


def _kept_for(request: HttpRequest, response: HttpResponseBase) -> str:
    match = request.resolver_match
    if request.method != "GET" or match is None or response.status_code != 200:
        return ""
    if match.url_name == "queue":
        return EVERYBODYS
    if match.url_name == "sign_in":
        return "nobody"
    present = here_or_none(request) if match.url_name in KEPT else None
    return present.whose if present else ""


# -- the answer to an entry of a queue ---------------------------------------------------------------------------------


class Queue:
    """Answers an entry of a device's queue in JSON, with what its own page made of it."""

    def __init__(self, respond: Any) -> None:
        self.respond = respond

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer as always where it is none."""
        try:
            queued = read_queued(request)
        except BadQueue as bad:
            return JsonResponse({"outcome": "refused", "said": str(bad)}, status=400)
        if queued is None:
            response: HttpResponseBase = self.respond(request)
            return response
        request.queued = queued  # type: ignore[attr-defined] # read by queued_of
        present = here_or_none(request)
        if present is None:
            return _say(queued, "sign in", "Sign in again: then it is sent.", 401)
        if present.whose != queued.sent.whose:
            return _say(queued, "somebody else's", "Somebody else is signed in: it waits for whoever made it.", 409)
        return self._answer(request, queued, present)

    def _answer(self, request: HttpRequest, queued: Queued, present: Here) -> HttpResponseBase:
        try:
            row = take_from_queue(present.department, queued.sent, acting=present.acting, clock=access.CLOCK)
        except Refused as refused:
            return _say(queued, "refused", str(refused), 422)
        queued.happened_at = row.happened_at
        before = was_entered(present.department, queued.sent.id)
        response = self.respond(request)
        spoken = " ".join(str(each) for each in messages.get_messages(request))
        outcome, said, status = _outcome(queued, response, before=before)
        if outcome == "refused" and not before and was_entered(present.department, queued.sent.id):
            came_directly(row)
            outcome, said, status = "later", "It reached the book meanwhile; that is looked at again.", 503
        elif outcome == "refused" and before:
            said = f"An entry of this number is in the book already. {said}"
        if outcome in ("posted", "posted before", "held"):
            said = spoken
        note_outcome(row, outcome, said, acting=access.here(request).acting)
        return _say(queued, outcome, said, status, came_to=response.headers.get("Location", ""))


def _outcome(queued: Queued, response: HttpResponseBase, *, before: bool) -> tuple[str, str, int]:
    """(outcome, sentences, status of the answer)."""
    code = response.status_code
    if queued.needs_pin:
        return "PIN", queued.said(), 401
    if queued.token_refused:
        return "later", "The sign-in was renewed meanwhile; it is sent again.", 503
    if code in (302, 303):
        return queued.came_to or ("posted before" if before else "posted"), "", 200
    if code == 429 or code >= 500:
        return "later", "The server is busy or in trouble; it is sent again.", 503
    if code == 404:
        return "refused", "What it is about is not there any more. Hand it to the company officer.", 422
    return "refused", queued.said() or DECIDE, 422


def _say(queued: Queued, outcome: str, said: str, status: int, *, came_to: str = "") -> JsonResponse:
    """came_to: the page that shows what came of it."""
    answer = {"id": str(queued.sent.id), "outcome": outcome, "said": said, "came_to": came_to}
    return JsonResponse(answer, status=status)


# -- pages -------------------------------------------------------------------------------------------------------------


@login_not_required
@require_GET
def queue(request: HttpRequest) -> HttpResponseBase:
    """What this device has kept and sent: the same page for all, filled in by the device itself."""
    return render(request, "queue/queue.html", {"frame": None, "messages": ()})  # somebody's messages are not kept


@login_not_required
@require_GET
def token(request: HttpRequest) -> HttpResponseBase:
    """Who is signed in, and a fresh token: asked before anything of a queue is sent."""
    present = here_or_none(request)
    if present is None:
        return JsonResponse({"whose": "", "who": "", "token": ""})
    facts = {"whose": present.whose, "who": present.said_name, "token": get_token(request)}
    return JsonResponse({**facts, "people": people(present.tablet) if present.tablet else []})


@require_POST
@may("check")
def hold(request: HttpRequest, here: Here) -> HttpResponseBase:
    """A queued form that was refused is kept whole for the company officer, with the sentence of the refusal."""
    queued = queued_of(request)
    if queued is None:
        return HttpResponse("This door takes entries out of a device’s queue.", status=400, content_type="text/plain")
    fields: dict[str, Any] = {
        name: values[0] if len(values) == 1 else values
        for name, values in request.POST.lists()
        if name not in ("csrfmiddlewaretoken", "entry_id", "confirm", PERSON, PIN, MARK, "of", "why")
    }
    by: dict[str, Any] = {"acting": _claimed(request, here), "clock": access.CLOCK}
    try:
        if request.FILES and here.tablet:
            raise Refused("A photo is handed over with a PIN only: give the PIN, or show the photo to the officer.")
        for name in request.FILES:
            data = cast("UploadedFile[Any]", request.FILES[name]).read()
            fields[name] = f"photo {keep_photo(here.department, data=data, **by).pk}"
        sent = queued.sent._replace(address=request.POST.get("of", "")[:200])
        hold_form(here.department, sent, fields, why=request.POST.get("why", "") or "Handed over.", **by)
    except Refused as refused:
        queued.sentences.append(str(refused))
        return HttpResponse(str(refused), status=422, content_type="text/plain")
    queued.came_to = "held"
    messages.success(request, "Held for the company officer, whole.")
    return redirect("my_unit")


def _claimed(request: HttpRequest, here: Here) -> Acting:
    """Who says to have made it: at a tablet nobody's PIN was seen, and the officer is told so."""
    if here.tablet is None:
        return here.acting
    said = request.POST.get(PERSON, "")
    row = people_at(here.tablet).filter(pk=said).first() if said.isascii() and said.isdecimal() else None
    return Acting(row.user if row else None, Identity.CLAIMED, here.tablet)


@login_not_required
@require_GET
def worker(request: HttpRequest) -> HttpResponseBase:
    """The script that keeps pages and the queue; at the root, since it may only see what lies below it."""
    return HttpResponse(_SCRIPT.read_text(encoding="utf-8"), content_type="text/javascript")


@login_not_required
@require_GET
def manifest(request: HttpRequest) -> HttpResponseBase:
    """So that a phone can put the pages on its first screen."""
    icons = [
        {"src": static(f"readiness/icon-{size}.png"), "sizes": f"{size}x{size}", "type": "image/png"}
        for size in (192, 512)
    ]
    vector = {"src": static("readiness/favicon.svg"), "sizes": "any", "type": "image/svg+xml"}
    facts = {"name": "Foam Readiness", "short_name": "Foam", "start_url": reverse("my_unit"), "scope": "/"}
    look = {"display": "standalone", "background_color": "#ffffff", "theme_color": "#1c2a3a"}
    return JsonResponse({**facts, **look, "icons": [vector, *icons]}, content_type="application/manifest+json")


urlpatterns = [
    path("crew/queue/", queue, name="queue"),
    path("crew/queue/token/", token, name="queue_token"),
    path("crew/queue/hold/", hold, name="queue_hold"),
    path("sw.js", worker, name="worker"),
    path("app.webmanifest", manifest, name="manifest"),
]
