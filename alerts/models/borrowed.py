"""What a farm's figures borrow from other farms of its group: pooled, rounded, fixed for a quarter."""

from django.db import models

from farms.ids import uuid7
from monitoring.analysis.correlated_weeks import WeekScatter
from monitoring.methods import METHOD_CHOICES

# Of WeekScatter, each in a column of its name, and once more for the group's list.
SCATTER = ("shock", "stays", "counting", "growth", "degrees")


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
    growth = models.FloatField(
        null=True, help_text="Log standard deviation of growth a week of farms that change; at least 0.15."
    )
    degrees = models.FloatField(null=True, help_text="Degrees of freedom that the group's scale is worth.")
    # For the group's list alone: the same five, once the week that all farms share is taken out.
    list_shock = models.FloatField(null=True, help_text="Shock, beside the week that all farms share.")
    list_stays = models.FloatField(null=True)
    list_counting = models.FloatField(null=True)
    list_growth = models.FloatField(null=True)
    list_degrees = models.FloatField(null=True)
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
        return self._scatter("")

    @property
    def list_scatter(self) -> WeekScatter | None:
        """The same beside the week that all farms share, for the group's list."""
        return self._scatter("list_")

    def _scatter(self, use: str) -> WeekScatter | None:
        figures = {name: getattr(self, f"{use}{name}") for name in SCATTER}
        if None in figures.values() or self.weight_k is None:
            return None
        return WeekScatter(**figures, k=self.weight_k, farms=self.farms)
