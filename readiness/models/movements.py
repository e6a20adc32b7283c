"""The ledger: movements with their lines, relocations and markings. The database refuses any change to them."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from readiness.models.catalogue import Lot
from readiness.models.containers import Container
from readiness.models.fields import one_of
from readiness.models.organisation import Department, Place
from readiness.models.partners import Partner
from readiness.models.people import Device, User


class Account(models.TextChoices):
    """Where volume comes from or goes to outside the department's containers."""

    SUPPLIER = "supplier"
    INCIDENT = "incident"
    DRILL = "drill"
    FLOW_TEST = "flow test"
    SAMPLE = "sample"
    LEAK = "leak"
    EVAPORATION = "evaporation"
    GAIN = "gain"
    DISPOSAL = "disposal"
    INVENTORY_DIFFERENCE = "inventory difference"
    PARTNER = "partner department"


class MovementKind(models.TextChoices):
    """What happened, in the words of the pages."""

    RECEIVED = "received"
    MOVED = "moved"
    POURED = "poured"
    USED = "used"
    LOST = "lost"
    GAINED = "gained"
    CORRECTED = "corrected"
    MARKED = "marked"
    CHANGED_OVER = "changed over"


class Identity(models.TextChoices):
    """How it was known who recorded a thing."""

    PASSWORD = "password"
    PIN = "pin"
    CLAIMED = "claimed"
    IMPORT = "import"
    COMMAND = "command"


class Mark(models.TextChoices):
    """The states of a container that a movement can mark; each is a column of Container."""

    SEALED = "sealed"
    OPENED_ON = "opened_on"
    MIXED = "mixed"
    DILUTED = "diluted"
    QUARANTINED = "quarantined"
    FLUSHED = "flushed"
    CONCENTRATE = "concentrate"


class Movement(models.Model):
    """The header, inserted last: it seals the lines, relocations and markings that name its id."""

    id = models.UUIDField(primary_key=True)
    department = models.ForeignKey(Department, models.PROTECT, db_index=False, related_name="movements")
    kind = models.CharField(max_length=14, choices=MovementKind.choices)
    happened_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="movements")
    identity = models.CharField(max_length=8, choices=Identity.choices)
    device = models.ForeignKey(Device, models.PROTECT, null=True, blank=True, related_name="movements")
    reason = models.TextField(blank=True)
    incident = models.CharField(max_length=60, blank=True)
    partner = models.ForeignKey(
        Partner, models.PROTECT, null=True, blank=True, related_name="movements", help_text="whose account it touches"
    )
    corrects = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="corrected_by")
    body_sha256 = models.CharField(max_length=64)

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            one_of("kind", MovementKind.values, "movement_kind_known"),
            one_of("identity", Identity.values, "movement_identity_known"),
            models.CheckConstraint(
                condition=Q(corrects__isnull=True) | ~Q(reason=""), name="movement_correction_has_reason"
            ),
        ]
        indexes = [models.Index(fields=["department", "happened_at"])]

    def __str__(self) -> str:
        return f"{self.kind} {self.happened_at:%Y-%m-%d %H:%M}"


class MovementLine(models.Model):
    """A volume of a lot into (+) or out of (−) a container or an outside account; a movement's lines sum to 0 a lot."""

    movement = models.ForeignKey(Movement, models.PROTECT, db_index=False, related_name="lines")
    n = models.PositiveIntegerField()
    container = models.ForeignKey(
        Container, models.PROTECT, null=True, blank=True, db_index=False, related_name="lines"
    )
    account = models.CharField(max_length=20, choices=Account.choices, blank=True)
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="lines")
    ml = models.BigIntegerField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["movement", "n"], name="movement_line_once"),
            models.CheckConstraint(condition=~Q(ml=0), name="movement_line_not_zero"),
            models.CheckConstraint(
                condition=Q(container__isnull=False, account="") | (Q(container__isnull=True) & ~Q(account="")),
                name="movement_line_container_or_account",
            ),
            one_of("account", ["", *Account.values], "movement_line_account_known"),
        ]
        indexes = [models.Index(fields=["container", "id"])]

    def __str__(self) -> str:
        return f"{self.ml:+} mL {self.container or self.account}"


class Relocation(models.Model):
    """A container changes place; empty `from_place`: it came into the book, empty `to_place`: it left."""

    movement = models.ForeignKey(Movement, models.PROTECT, db_index=False, related_name="relocations")
    container = models.ForeignKey(Container, models.PROTECT, db_index=False, related_name="relocations")
    from_place = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="relocations_out")
    to_place = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="relocations_in")

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["movement", "container"], name="relocation_once")]
        indexes = [models.Index(fields=["container", "id"])]

    def __str__(self) -> str:
        return f"{self.container}: {self.from_place or 'outside'} to {self.to_place or 'outside'}"


class Marking(models.Model):
    """A container's state changes: which, from what, to what, as text (yes/no, an ISO date, a concentrate's id)."""

    movement = models.ForeignKey(Movement, models.PROTECT, db_index=False, related_name="markings")
    container = models.ForeignKey(Container, models.PROTECT, db_index=False, related_name="markings")
    mark = models.CharField(max_length=12, choices=Mark.choices)
    old = models.CharField(max_length=24, blank=True)
    new = models.CharField(max_length=24, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["movement", "container", "mark"], name="marking_once"),
            one_of("mark", Mark.values, "marking_mark_known"),
        ]
        indexes = [models.Index(fields=["container", "id"])]

    def __str__(self) -> str:
        return f"{self.container}: {self.mark} {self.old} to {self.new}"
