"""The one Django app; its triggers are laid again after every migration."""

from __future__ import annotations

from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate


def _lay_triggers(using: str, **_: Any) -> None:
    from readiness.models import triggers  # models can only be imported once the apps are ready

    triggers.install(using)


class ReadinessConfig(AppConfig):
    """Installs the ledger's triggers whenever tables may have been remade."""

    name = "readiness"
    verbose_name = "Foam Readiness"

    def ready(self) -> None:
        post_migrate.connect(_lay_triggers, sender=self, dispatch_uid="readiness.triggers")
