"""Invites a person from the command line: the first chief of a department, above all."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.urls import reverse

from readiness.actions.drafts import Refused
from readiness.actions.people import INVITATION_DAYS, Newcomer, invite
from readiness.actions.permissions import OWNER
from readiness.management.departments import department_named
from readiness.models import Role


class Command(BaseCommand):
    """`invite FIRST LAST EMAIL`: make a person a member of a department; print the link where no mail went out."""

    help = "Make a person a member of a department, as its chief unless told otherwise, and send or print the link."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Who, as what, and where this installation is reached."""
        parser.add_argument("first_name")
        parser.add_argument("last_name")
        parser.add_argument("email")
        parser.add_argument("--role", choices=Role.values, default=Role.CHIEF.value)
        parser.add_argument("--department", default="", help="its name, where there are several")
        parser.add_argument("--address", default="http://127.0.0.1:8000", help="where people reach this installation")

    def handle(self, *_: Any, **options: Any) -> None:
        """Invite, or say why not."""
        department = department_named(options["department"])
        address = options["address"].rstrip("/")
        newcomer = Newcomer(options["email"], options["first_name"], options["last_name"], Role(options["role"]))
        try:
            invited = invite(
                department, OWNER, newcomer, link_of=lambda token: address + reverse("accept_invitation", args=[token])
            )
        except Refused as refused:
            raise CommandError(str(refused)) from refused
        member = invited.membership
        self.stdout.write(f"{member.user.get_full_name()} is a member of {department}, {member.get_role_display()}.")
        if invited.link:
            self.stdout.write(f"Open this once within {INVITATION_DAYS} days to set the password:\n{invited.link}")
        else:
            how = "A mail is on its way" if invited.mailed else "The sign-in is the one they have"
            self.stdout.write(f"{how}: {member.user.email}.")
