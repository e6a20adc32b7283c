"""Refuses to serve others with the key that everybody knows: as a system check, and again when a server starts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, register
from django.core.exceptions import ImproperlyConfigured

DEMO_KEY = "only-for-a-demo-on-this-machine-set-SECRET_KEY-to-serve-others"
_THIS_MACHINE = frozenset({"localhost", "127.0.0.1", "[::1]", "::1", ".localhost", "testserver"})
SENTENCE = (
    "SECRET_KEY is the demo's, which everybody can read, and ALLOWED_HOSTS names {hosts}: whoever reaches it could "
    "sign in as anybody. Set SECRET_KEY to a long random text of your own, or leave ALLOWED_HOSTS to this machine."
)


def weak_key() -> str:
    """The sentence against serving beyond this machine with the demo's key; empty when all is well."""
    others = sorted(set(settings.ALLOWED_HOSTS) - _THIS_MACHINE)
    return SENTENCE.format(hosts=", ".join(others)) if settings.SECRET_KEY == DEMO_KEY and others else ""


def refuse_weak_key() -> None:
    """Raise ImproperlyConfigured rather than serve with a key that everybody knows."""
    if sentence := weak_key():
        raise ImproperlyConfigured(sentence)


@register(Tags.security)
def check_key(app_configs: Sequence[Any] | None, **_: Any) -> list[CheckMessage]:
    """The same as a system check, which every command runs first."""
    sentence = weak_key()
    return [Error(sentence, id="readiness.E001")] if sentence else []
