"""Numbered places, how they are sited, and the cards and traps hung there."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.chained import Chained
from farms.tenancy.keys import FarmRecord, inside_farm
from monitoring.methods import METHOD_CHOICES, METHODS


class Station(FarmRecord):
    """A numbered place in a facility where one method is used. Moved elsewhere, it is a new station."""

    facility_id = models.UUIDField()
    facility = inside_farm("farms.Facility", "facility_id", related_name="stations")
    method = models.CharField(_("method"), max_length=8, choices=METHOD_CHOICES)
    number = models.PositiveSmallIntegerField(_("number"))
    position = models.PositiveSmallIntegerField(_("walking order"), default=0)
    since = models.DateField(_("in use since"))
    until = models.DateField(_("in use until"), null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(name="station_number_once_a_method", fields=["farm", "method", "number"]),
            models.CheckConstraint(name="station_number_from_one", condition=models.Q(number__gte=1)),
        ]

    @property
    def label(self) -> str:
        """The farm's word: "Card 4", "Trampa 2"."""
        return str(METHODS[self.method].station_name).format(number=self.number)


class Near(models.TextChoices):
    """What close by draws flies without their hatching there."""

    NOTHING = "nothing", _("nothing that draws flies")
    MILK = "milk", _("milk")
    FEED = "feed", _("feed")
    WATER = "water", _("water")


class Siting(FarmRecord):
    """How a station stands from a day on; the record of the siting is part of the reading, so rows are only added."""

    station_id = models.UUIDField()
    station = inside_farm("monitoring.Station", "station_id", related_name="sitings")
    since = models.DateField()
    windy = models.BooleanField(_("in wind or draught"), default=False)
    near = models.CharField(_("near"), max_length=8, choices=Near, default=Near.NOTHING)
    out_of_reach = models.BooleanField(_("out of reach of animals and children"), null=True)
    # Position on the plan, each from 0 (left, top) to 1.
    x = models.FloatField(null=True, blank=True)
    y = models.FloatField(null=True, blank=True)
    # Put elsewhere on the plan, how it hangs as noted before: of one day the newest row holds (by its id).
    only_place = models.BooleanField(default=False, db_default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="siting_once_a_day",
                fields=["farm", "station_id", "since"],
                condition=models.Q(only_place=False),
            ),
            models.CheckConstraint(
                name="siting_lies_on_the_plan",
                condition=models.Q(x__isnull=True, y__isnull=True) | models.Q(x__range=(0, 1), y__range=(0, 1)),
            ),
        ]
        # Readers: monitoring.selectors.stations.sited_of_farms, monitoring.arrays, of all rows of a station.
        indexes = [models.Index(name="siting_by_station", fields=["farm", "station_id", "since"])]


class Placement(FarmRecord):
    """One card or trap hung at a station on a date. Two may hang at one station."""

    station_id = models.UUIDField()
    station = inside_farm("monitoring.Station", "station_id", related_name="placements")
    hung_on = models.DateField(_("hung on"))
    zone = models.CharField(max_length=64)
    entry = models.BigIntegerField()
    chained = Chained(shown=True)

    class Meta:
        indexes = [models.Index(name="placement_by_station", fields=["farm", "station_id", "hung_on"])]
