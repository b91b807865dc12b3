"""Which rounds of a week came, as a coordinator may know: numbers of five farms or more, and of no farm."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.ids import uuid7


class RoundsOf(models.TextChoices):
    REGION = "region", _("a region")
    SMALLER = "smaller", _("smaller regions together")
    ALL = "all", _("the whole group")


class RoundsTold(models.Model):
    """One line of a week's participation, kept as it was told on its Monday.

    Only what may be told is stored (alerts.delivery.participation): no line stands for fewer than five farms in season,
    neither alone nor as what remains of the others.
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey("farms.Group", on_delete=models.PROTECT, related_name="+")
    week = models.DateField(help_text="The Monday of the ISO week.")
    of = models.CharField(max_length=8, choices=RoundsOf)
    region = models.ForeignKey("farms.Region", on_delete=models.PROTECT, related_name="+", null=True)
    farms = models.IntegerField()
    came = models.IntegerField()
    overdue = models.IntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="rounds_told_once_a_week", fields=["group", "week", "of", "region"], nulls_distinct=False
            ),
            models.CheckConstraint(name="rounds_told_of_five_farms_or_more", condition=models.Q(farms__gte=5)),
            models.CheckConstraint(
                name="rounds_told_names_a_region_only_where_it_is_of_one",
                condition=models.Q(of=RoundsOf.REGION, region__isnull=False)
                | (~models.Q(of=RoundsOf.REGION) & models.Q(region__isnull=True)),
            ),
        ]
