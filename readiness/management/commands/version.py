"""Says which version this is."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand


class Command(BaseCommand):
    """Print the product's version."""

    help = "Say which version of Foam Readiness this is."
    requires_system_checks = []

    def handle(self, *_: Any, **__: Any) -> None:
        """Read it from pyproject.toml, which stands beside manage.py."""
        project = tomllib.loads((Path(settings.BASE_DIR) / "pyproject.toml").read_text(encoding="utf-8"))
        self.stdout.write(f"Foam Readiness {project['project']['version']}")
