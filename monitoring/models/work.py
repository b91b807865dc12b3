"""Work done against flies. Pesticide applications need their full record and are not among these kinds."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.chained import Chained
from farms.models.chain import ActorKind
from farms.tenancy.keys import FarmRecord, inside_farm


class WorkKind(models.TextChoices):
    CLEAN_OUT = "clean_out", _("clean-out")
    DRYING = "drying", _("drying and water handling")
    BEDDING = "bedding", _("bedding change")
    FANS = "fans", _("fans")
    SCREENS = "screens", _("screens")
    WASPS = "wasps", _("parasitic wasps released")
    TRAPS = "traps", _("traps hung, emptied or moved")
    OTHER = "other", _("other")


class WorkQuerySet(models.QuerySet["Work"]):
    def standing(self) -> "WorkQuerySet":
        """Without what was taken back, which counts nowhere."""
        return self.filter(~self._taken_back())

    def with_taken_back(self) -> "WorkQuerySet":
        """All of it; `taken_back` marks what counts nowhere."""
        return self.annotate(taken_back=self._taken_back())

    def _taken_back(self) -> models.Exists:
        rows = WorkTakenBack.objects.using(self.db).filter(
            farm_id=models.OuterRef("farm_id"), work_id=models.OuterRef("id")
        )
        return models.Exists(rows)


class Work(FarmRecord):
    """Something done on a day, in one facility or on the whole farm. Append-only: see `WorkTakenBack`.

    Of a clean-out what could not be reached; of wasps their species, number and the supplier's batch. Where it was
    planned, `planned_for` is the day of the plan that it stands for, and `attempt` counts those taken back before.
    """

    facility_id = models.UUIDField(null=True)
    facility = inside_farm("farms.Facility", "facility_id", related_name="works", null=True)
    kind = models.CharField(_("kind"), max_length=10, choices=WorkKind)
    done_on = models.DateField(_("done on"))
    thorough = models.BooleanField(_("thorough"), null=True)
    not_reached = models.CharField(_("what could not be reached"), max_length=200, null=True)  # noqa: DJ001 - chained where known
    species = models.CharField(_("species"), max_length=100, null=True)  # noqa: DJ001 - likewise
    number = models.PositiveIntegerField(_("how many"), null=True)
    batch = models.CharField(_("the supplier's batch"), max_length=60, null=True)  # noqa: DJ001 - likewise
    planned_id = models.UUIDField(null=True)
    planned = inside_farm("monitoring.PlannedWork", "planned_id", related_name="works", null=True)
    planned_for = models.DateField(null=True)
    attempt = models.PositiveSmallIntegerField(null=True)
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    recorded_at = models.DateTimeField()
    entry = models.BigIntegerField()

    chained = Chained(shown=True)
    chained_where_known = ("not_reached", "species", "number", "batch", "planned_id", "planned_for", "attempt")
    objects = WorkQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="planned_day_is_done_once",
                fields=["farm", "planned_id", "planned_for", "attempt"],
                condition=models.Q(planned_id__isnull=False),
            ),
            models.CheckConstraint(
                name="work_planned_names_its_day",
                condition=models.Q(planned_id__isnull=True, planned_for__isnull=True, attempt__isnull=True)
                | models.Q(planned_id__isnull=False, planned_for__isnull=False, attempt__isnull=False),
            ),
            models.CheckConstraint(
                name="only_a_clean_out_leaves_something_unreached",
                condition=models.Q(not_reached__isnull=True) | models.Q(kind="clean_out"),
            ),
            models.CheckConstraint(
                name="only_wasps_have_species_number_and_batch",
                condition=models.Q(species__isnull=True, number__isnull=True, batch__isnull=True)
                | models.Q(kind="wasps"),
            ),
        ]
        indexes = [models.Index(name="work_by_day", fields=["farm", "done_on"])]


class WorkTakenBack(FarmRecord):
    """A work that was noted by mistake: it stays on record and counts nowhere. Why lies in planned_work.WorkWords."""

    work_id = models.UUIDField()
    work = inside_farm("monitoring.Work", "work_id")
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    recorded_at = models.DateTimeField()
    entry = models.BigIntegerField()

    chained = Chained()

    class Meta:
        constraints = [models.UniqueConstraint(name="work_is_taken_back_once", fields=["farm", "work_id"])]
