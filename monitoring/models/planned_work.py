"""Work that is planned, once or again and again, and what became of its days. Rows are only added."""

from django.db import models
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from farms.chained import Chained
from farms.models.chain import ActorKind
from farms.tenancy.keys import FarmRecord, inside_farm
from monitoring.models.product import ProductKind
from monitoring.models.work import WorkKind

# Done by recording the application, with its full record: never by one tap.
APPLICATION = "application"
PLAN_KINDS = [*WorkKind.choices, (APPLICATION, _("fly spray, pour-on or bait"))]


class Unit(models.TextChoices):
    """In what a plan's steps are counted."""

    DAY = "day", pgettext_lazy("a plan's step", "days")
    WEEK = "week", pgettext_lazy("a plan's step", "weeks")
    MONTH = "month", pgettext_lazy("a plan's step", "months")


class PlannedWork(FarmRecord):
    """What is to be done in a facility or (None) on the whole farm, on one day or every so often until `last_day`.

    Done is a Work that names it. What to do lies apart in `WorkWords`, where it can be erased.
    """

    facility_id = models.UUIDField(null=True)
    facility = inside_farm("farms.Facility", "facility_id", null=True)
    kind = models.CharField(_("kind"), max_length=12, choices=PLAN_KINDS)
    first_day = models.DateField(_("first day"))
    every = models.PositiveSmallIntegerField(_("every"), null=True)
    unit = models.CharField(max_length=5, choices=Unit, blank=True, default="")
    last_day = models.DateField(_("last day"), null=True)
    # Of wasps: what one tap notes.
    species = models.CharField(_("species"), max_length=100, blank=True, default="")
    number = models.PositiveIntegerField(_("how many"), null=True)
    # Of an application: what the product is for, and which of the group's list it is, where that was said. No foreign
    # key, since the group's list is no farm's.
    use_kind = models.CharField(_("what it is for"), max_length=12, choices=ProductKind, blank=True, default="")
    product_id = models.UUIDField(null=True)
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    recorded_at = models.DateTimeField()
    entry = models.BigIntegerField()

    chained = Chained()

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="plan_that_repeats_has_an_end",
                condition=models.Q(every__isnull=True, unit="", last_day__isnull=True)
                | models.Q(
                    every__isnull=False, every__gte=1, last_day__isnull=False, last_day__gte=models.F("first_day")
                )
                & ~models.Q(unit=""),
            ),
            models.CheckConstraint(
                name="only_a_plan_of_wasps_has_species_and_number",
                condition=models.Q(species="", number__isnull=True) | models.Q(kind="wasps"),
            ),
            models.CheckConstraint(
                name="only_a_planned_application_has_a_use",
                condition=models.Q(kind="application") & ~models.Q(use_kind="")
                | ~models.Q(kind="application") & models.Q(use_kind="", product_id__isnull=True),
            ),
        ]
        indexes = [models.Index(name="planned_work_by_day", fields=["farm", "first_day"])]

    @property
    def is_application(self) -> bool:
        """Whether it is done by recording an application."""
        return self.kind == APPLICATION


class StepKind(models.TextChoices):
    LEFT_OUT = "left_out", pgettext_lazy("planned work", "left out")
    ENDED = "ended", pgettext_lazy("planned work", "ended")


class PlannedStep(FarmRecord):
    """A day of a plan that is left out this once, or the day from which on the plan is ended."""

    planned_id = models.UUIDField()
    planned = inside_farm("monitoring.PlannedWork", "planned_id", related_name="steps")
    kind = models.CharField(max_length=8, choices=StepKind)
    day = models.DateField()
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    recorded_at = models.DateTimeField()
    entry = models.BigIntegerField()

    chained = Chained()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="planned_day_is_left_out_once",
                fields=["farm", "planned_id", "day"],
                condition=models.Q(kind="left_out"),
            ),
            models.UniqueConstraint(
                name="plan_is_ended_once", fields=["farm", "planned_id"], condition=models.Q(kind="ended")
            ),
        ]


class WorkWords(FarmRecord):
    """Somebody's words about a plan, a step of it or a work taken back: `about_id` is that row's id.

    They can be erased with their salt: the chain holds their salted hash.
    """

    about_id = models.UUIDField()
    text = models.CharField(max_length=200)
    salt = models.BinaryField(max_length=16)
    entry = models.BigIntegerField()

    chained = Chained(salted=("text",))

    class Meta:
        constraints = [models.UniqueConstraint(name="words_once_a_row", fields=["farm", "about_id"])]
