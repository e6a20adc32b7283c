"""Where each page lives: every noun of readiness/web/ that has pages has its own `urlpatterns`, found here."""

from __future__ import annotations

from importlib import import_module
from pkgutil import iter_modules

from django.urls import URLPattern, URLResolver

from readiness import web

urlpatterns: list[URLPattern | URLResolver] = [
    pattern
    for module in sorted(found.name for found in iter_modules(web.__path__) if not found.ispkg)
    for pattern in getattr(import_module(f"readiness.web.{module}"), "urlpatterns", ())
]

handler400 = "readiness.web.errors.bad_request"
handler403 = "readiness.web.errors.forbidden"
handler404 = "readiness.web.errors.not_found"
handler500 = "readiness.web.errors.server_error"
