"""The one Django app; its triggers are taken off before a migration and laid again after it."""

from __future__ import annotations

from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate


def _take_triggers_off(using: str, plan: list[Any], **_: Any) -> None:
    """SQLite cannot rename a table of which another table's trigger speaks; nothing is taken off for nothing."""
    from readiness.models import triggers  # models can only be imported once the apps are ready

    if plan:
        triggers.remove(using)


def _lay_triggers(using: str, **_: Any) -> None:
    from readiness.models import triggers  # models can only be imported once the apps are ready

    triggers.install(using)


class ReadinessConfig(AppConfig):
    """Installs the ledger's triggers whenever tables may have been remade."""

    name = "readiness"
    verbose_name = "Foam Readiness"

    def ready(self) -> None:
        pre_migrate.connect(_take_triggers_off, sender=self, dispatch_uid="readiness.triggers off")
        post_migrate.connect(_lay_triggers, sender=self, dispatch_uid="readiness.triggers")
