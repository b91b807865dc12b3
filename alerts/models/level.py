"""Action levels: the group's own and a farm's or facility's own, with reason and date. Rows are only added."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.chained import Chained
from farms.ids import uuid7
from farms.tenancy.keys import FarmRecord, inside_farm
from monitoring.methods import METHOD_CHOICES


class LevelFields(models.Model):
    """An action level in the method's unit, valid from a day on until a later row replaces it.

    `taken_back`: from that day on the own level of `value` is no more, and the next one up applies.
    """

    method = models.CharField(_("method"), max_length=8, choices=METHOD_CHOICES)
    value = models.FloatField(_("action level"))
    taken_back = models.BooleanField(null=True)
    # Stored with the value, since bulletins quote leg counts an animal and a leg.
    unit = models.CharField(max_length=40)
    valid_from = models.DateField(_("from"))
    reason = models.CharField(_("reason"), max_length=300)
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()

    # Younger than the first chained rows.
    chained_where_known = ("taken_back",)

    class Meta:
        abstract = True


class GroupLevel(LevelFields):
    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey("farms.Group", on_delete=models.PROTECT, related_name="levels")

    class Meta:
        constraints = [models.CheckConstraint(name="group_level_above_zero", condition=models.Q(value__gt=0))]


class FarmLevel(LevelFields, FarmRecord):
    """The farm's own level, or one facility's where `facility_id` is set."""

    facility_id = models.UUIDField(null=True)
    facility = inside_farm("farms.Facility", "facility_id", null=True)
    entry = models.BigIntegerField()
    chained = Chained()

    class Meta:
        constraints = [models.CheckConstraint(name="farm_level_above_zero", condition=models.Q(value__gt=0))]
