"""What a farm's figures borrow from other farms of its group: pooled, rounded, fixed for a quarter."""

from django.db import models

from farms.ids import uuid7
from monitoring.analysis.correlated_weeks import WeekScatter
from monitoring.methods import METHOD_CHOICES


class BorrowedFigures(models.Model):
    """One method's pooled figures, from the twelve weeks before a quarter. Append-only.

    Where fewer than 30 holdings had enough weeks the row has no figures, and the printed ones hold for the quarter.
    Every figure is rounded to two digits, so that no farm shows in it; none of them is a week's level.
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey("farms.Group", on_delete=models.PROTECT, related_name="borrowed_figures")
    method = models.CharField(max_length=8, choices=METHOD_CHOICES)
    quarter = models.DateField(help_text="The first day of the quarter in which these figures are used.")
    version = models.PositiveSmallIntegerField(default=1)
    farms = models.IntegerField()
    holdings = models.IntegerField()
    shock = models.FloatField(null=True, help_text="Log standard deviation of a week's shock to a whole farm.")
    stays = models.FloatField(null=True, help_text="Correlation of a week's shock with the next week's.")
    counting = models.FloatField(null=True, help_text="What the scatter of counts is multiplied by.")
    growth = models.FloatField(null=True, help_text="Log standard deviation of growth a week of farms that change.")
    degrees = models.FloatField(null=True, help_text="Degrees of freedom that the group's scale is worth.")
    weight_k = models.FloatField(null=True, help_text="Negative-binomial k that counts are weighted with.")
    leg_k = models.FloatField(null=True, help_text="Negative-binomial k of flies on an animal.")
    taylor_a = models.FloatField(null=True)
    taylor_b = models.FloatField(null=True)
    fitted_at = models.DateTimeField()
    code_version = models.CharField(max_length=40)

    class Meta:
        constraints = [
            models.UniqueConstraint(name="borrowed_once_a_version", fields=["group", "method", "quarter", "version"])
        ]

    @property
    def name(self) -> str:
        """How results name the figures that they rest on: the quarter and the version."""
        return f"{self.quarter:%Y-%m-%d}/{self.version}"

    @property
    def scatter(self) -> WeekScatter | None:
        """How weeks scatter, None where too few farms could say."""
        if self.shock is None or self.stays is None or self.counting is None:
            return None
        if self.growth is None or self.degrees is None or self.weight_k is None:
            return None
        return WeekScatter(self.shock, self.stays, self.counting, self.growth, self.degrees, self.weight_k, self.farms)
