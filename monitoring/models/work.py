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
    OTHER = "other", _("other")


class Work(FarmRecord):
    """Something done on a day, in one facility or on the whole farm. Append-only."""

    facility_id = models.UUIDField(null=True)
    facility = inside_farm("farms.Facility", "facility_id", related_name="works", null=True)
    kind = models.CharField(_("kind"), max_length=10, choices=WorkKind)
    done_on = models.DateField(_("done on"))
    thorough = models.BooleanField(_("thorough"), null=True)
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    recorded_at = models.DateTimeField()
    entry = models.BigIntegerField()
    chained = Chained(shown=True)

    class Meta:
        indexes = [models.Index(name="work_by_day", fields=["farm", "done_on"])]
