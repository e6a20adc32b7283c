"""Inventories: blind stocktakes. What was counted and what came of it is evidence: the database refuses to alter it."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from readiness.models.catalogue import Concentrate
from readiness.models.containers import Container, ContainerKind
from readiness.models.fields import one_of
from readiness.models.fleet import Unit, Vehicle
from readiness.models.movements import Identity, Movement
from readiness.models.organisation import Department, Station
from readiness.models.people import Device, User


class Stage(models.TextChoices):
    """How far an inventory is. Until it is confirmed nobody is shown what the book says."""

    COUNTING = "counting", "counting"
    CONFIRMING = "confirming", "second person confirms"
    EXPLAINING = "explaining", "differences are explained"
    CLOSED = "closed", "closed"
    ABANDONED = "abandoned", "abandoned"


class Inventory(models.Model):
    """One inventory: its scope in words, how far it is, and who signed each step when."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="inventories")
    scope = models.CharField(max_length=120)
    stage = models.CharField(max_length=10, choices=Stage.choices, default=Stage.COUNTING)
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="inventories_opened")
    counted_at = models.DateTimeField(null=True, blank=True, help_text="when the first count was closed")
    counted_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="inventories_counted")
    confirmed_at = models.DateTimeField(null=True, blank=True)
    confirmed_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="inventories_confirmed")
    closed_at = models.DateTimeField(null=True, blank=True, help_text="when it was signed, or abandoned")
    closed_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="inventories_closed")
    reopened_until = models.DateTimeField(null=True, blank=True)
    reason = models.TextField(blank=True, help_text="why it was closed above the limit, reopened or abandoned")

    class Meta:
        verbose_name_plural = "inventories"
        ordering = ["-opened_at", "-id"]
        constraints = [one_of("stage", Stage.values, "inventory_stage_known")]

    def __str__(self) -> str:
        return f"Inventory {self.pk}: {self.scope}"


class InventoryPlace(models.Model):
    """Where to look, with all compartments: a station's store, or a rig (a unit on its vehicle, or a vehicle alone).

    Laid down at the opening. What is loose on a unit and what is fixed to its vehicle are counted in one walk.
    """

    inventory = models.ForeignKey(Inventory, models.PROTECT, related_name="places")
    n = models.PositiveIntegerField(help_text="in the order of the walk")
    station = models.ForeignKey(Station, models.PROTECT, null=True, blank=True, related_name="+")
    unit = models.ForeignKey(Unit, models.PROTECT, null=True, blank=True, related_name="+")
    vehicle = models.ForeignKey(Vehicle, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["n"]
        constraints = [
            models.CheckConstraint(
                condition=Q(station__isnull=False, unit__isnull=True, vehicle__isnull=True)
                | (Q(station__isnull=True) & (Q(unit__isnull=False) | Q(vehicle__isnull=False))),
                name="inventory_place_is_a_store_or_a_rig",
            ),
            models.UniqueConstraint(fields=["inventory", "n"], name="inventory_place_once"),
        ]

    def __str__(self) -> str:
        if self.station:
            return f"{self.station} store"
        return f"{self.unit} on {self.vehicle}" if self.unit and self.vehicle else str(self.unit or self.vehicle)


class Found(models.TextChoices):
    """What somebody saw of a container."""

    SEEN = "seen", "seen"
    NOT_HERE = "not here", "not here"
    UNREADABLE = "label unreadable", "label unreadable"
    UNKNOWN = "not in the book", "not in the book"


class Method(models.TextChoices):
    """How the volume is known. A whole seal answers for the size on the label; all else is measured."""

    SEALED = "sealed", "sealed and full"
    GAUGE = "gauge", "read on the gauge or sight glass"
    STICK = "stick", "measured with a stick"
    SCALE = "scale", "weighed"
    EMPTY = "empty", "empty"
    SHEET = "sheet", "by a sheet that was handed over"


class Count(models.Model):
    """What one person saw of one container at one place. Never altered: whoever was wrong counts again."""

    entry = models.UUIDField(unique=True, help_text="minted by the form: it posts once")
    inventory = models.ForeignKey(Inventory, models.PROTECT, related_name="counts")
    place = models.ForeignKey(InventoryPlace, models.PROTECT, related_name="counts")
    stage = models.CharField(max_length=10, choices=Stage.choices)
    container = models.ForeignKey(Container, models.PROTECT, null=True, blank=True, related_name="counts")
    found = models.CharField(max_length=16, choices=Found.choices)
    method = models.CharField(max_length=6, choices=Method.choices, blank=True)
    ml = models.BigIntegerField(null=True, blank=True)
    compartment = models.CharField(max_length=60, blank=True)
    code = models.CharField(max_length=24, blank=True, help_text="as read, where the book does not know it")
    kind = models.CharField(max_length=14, choices=ContainerKind.choices, blank=True)
    size_ml = models.BigIntegerField(null=True, blank=True)
    concentrate = models.ForeignKey(Concentrate, models.PROTECT, null=True, blank=True, related_name="counts")
    lot_words = models.CharField(max_length=60, blank=True)
    words = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="counts")
    identity = models.CharField(max_length=8, choices=Identity.choices)
    device = models.ForeignKey(Device, models.PROTECT, null=True, blank=True, related_name="counts")
    counted_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    body_sha256 = models.CharField(max_length=64)

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["inventory", "container"]), models.Index(fields=["container", "-counted_at"])]
        constraints = [
            one_of("found", Found.values, "count_found_known"),
            one_of("method", ["", *Method.values], "count_method_known"),
            one_of("identity", Identity.values, "count_identity_known"),
            models.CheckConstraint(
                condition=Q(found__in=["seen", "not here"], container__isnull=False)
                | Q(found__in=["label unreadable", "not in the book"], container__isnull=True),
                name="count_of_a_container_or_of_what_has_none",
            ),
            models.CheckConstraint(
                condition=Q(found="not here", ml__isnull=True) | (~Q(found="not here") & Q(ml__gte=0)),
                name="count_has_a_volume",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.container or self.code or self.found} at {self.place}"


class Because(models.TextChoices):
    """Why a container is looked at once more."""

    CONFIRM = "confirm", "a second person confirms"
    MISREAD = "misread", "the count before was misread"


class FurtherLook(models.Model):
    """A container that somebody has to look at once more: for the confirmation, or since a count was misread."""

    inventory = models.ForeignKey(Inventory, models.PROTECT, related_name="further_looks")
    container = models.ForeignKey(Container, models.PROTECT, related_name="further_looks")
    because = models.CharField(max_length=8, choices=Because.choices)
    after = models.BigIntegerField(default=0, help_text="the last count there was: only later ones answer it")
    asked_at = models.DateTimeField()
    asked_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["id"]
        constraints = [one_of("because", Because.values, "further_look_because_known")]

    def __str__(self) -> str:
        return f"{self.container}: {self.because}"


class CountMatch(models.Model):
    """An unreadable or unknown container that turned out to be one of the book's, by elimination."""

    count = models.OneToOneField(Count, models.PROTECT, related_name="match")
    container = models.ForeignKey(Container, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")

    def __str__(self) -> str:
        return f"{self.count} is {self.container}"


class What(models.TextChoices):
    """In what a container differed from the book."""

    VOLUME = "volume", "volume"
    PLACE = "place", "place"
    SEAL = "seal", "seal"
    NOTHING = "nothing", "nothing"
    NOT_COUNTED = "not counted", "not counted"


class Explanation(models.TextChoices):
    """Why the count and the book differ; each is booked in its own way."""

    UNBOOKED_MOVE = "unbooked move", "unbooked move"
    UNBOOKED_POUR = "unbooked pour", "poured over and not booked"
    UNBOOKED_USE = "used and not booked", "used and not booked"
    LEAK = "leak", "leak"
    EVAPORATION = "evaporation", "evaporation"
    GAIN = "gain", "gain: water may have got in"
    NOT_FOUND = "not found", "not found"
    NOT_IN_BOOK = "not in the book", "not in the book"
    OPENED = "opened and not booked", "opened and not booked"
    OTHER = "other", "other"


class InventoryResult(models.Model):
    """What an inventory came to for one container in one respect: frozen, with the movement that it led to."""

    inventory = models.ForeignKey(Inventory, models.PROTECT, related_name="results")
    container = models.ForeignKey(Container, models.PROTECT, related_name="inventory_results")
    count = models.ForeignKey(Count, models.PROTECT, null=True, blank=True, related_name="results")
    what = models.CharField(max_length=12, choices=What.choices)
    code = models.CharField(max_length=24)
    concentrate = models.CharField(max_length=120, blank=True)
    book_place = models.CharField(max_length=160, blank=True)
    found_place = models.CharField(max_length=160, blank=True)
    book_ml = models.BigIntegerField()
    counted_ml = models.BigIntegerField(null=True, blank=True)
    value_minor = models.BigIntegerField(null=True, blank=True, help_text="the difference at its lots' prices, 1/100")
    currency = models.CharField(max_length=3, blank=True)
    explanation = models.CharField(max_length=24, choices=Explanation.choices, blank=True)
    words = models.CharField(max_length=400, blank=True)
    above_limit = models.BooleanField(default=False)
    movement = models.ForeignKey(Movement, models.PROTECT, null=True, blank=True, related_name="inventory_results")
    by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["container", "-id"])]
        constraints = [
            one_of("what", What.values, "inventory_result_what_known"),
            one_of("explanation", ["", *Explanation.values], "inventory_result_explanation_known"),
        ]

    def __str__(self) -> str:
        return f"{self.code}: {self.what}"
