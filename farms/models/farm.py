"""The dairy, its barns and yards, its seasons."""

from datetime import date

from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.ids import uuid7
from farms.models.group import LANGUAGES, Group, Holding, Region
from farms.tenancy.keys import FarmRecord


class Farm(models.Model):
    """A dairy. Under row security by its own id."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="farms")
    region = models.ForeignKey(Region, on_delete=models.PROTECT, related_name="farms")
    holding = models.ForeignKey(Holding, on_delete=models.PROTECT, related_name="farms")
    name = models.CharField(_("name"), max_length=120)
    time_zone = models.CharField(_("time zone"), max_length=64, default="UTC")
    language = models.CharField(_("language"), max_length=5, choices=LANGUAGES, default="en")

    class Meta:
        constraints = [models.UniqueConstraint(name="farm_name_once_in_holding", fields=["holding", "name"])]

    def __str__(self) -> str:
        return self.name


class FacilityKind(models.TextChoices):
    CALF_HUTCHES = "calf_hutches", _("calf hutches")
    CALF_BARN = "calf_barn", _("calf barn")
    FREE_STALL_BARN = "free_stall_barn", _("free-stall barn")
    TIE_STALL_BARN = "tie_stall_barn", _("tie-stall barn")
    BEDDED_PACK = "bedded_pack", _("bedded pack")
    HEIFER_BARN = "heifer_barn", _("heifer barn")
    MATERNITY_PEN = "maternity_pen", _("maternity pen")
    PARLOR = "parlor", _("parlor")
    MILK_HOUSE = "milk_house", _("milk house")
    FEED_AREA = "feed_area", _("feed area")
    HAY_FEEDING_SITE = "hay_feeding_site", _("hay-feeding site")
    SILO = "silo", _("silo")
    DRY_LOT = "dry_lot", _("dry lot")
    PASTURE = "pasture", _("pasture")
    LAGOON = "lagoon", _("lagoon")
    OTHER = "other", _("other")


# Where animals are housed: what is said of "each housing unit" is said of these (common practice names no list).
HOUSING_UNITS = (
    FacilityKind.CALF_HUTCHES, FacilityKind.CALF_BARN, FacilityKind.FREE_STALL_BARN, FacilityKind.TIE_STALL_BARN,
    FacilityKind.BEDDED_PACK, FacilityKind.HEIFER_BARN, FacilityKind.MATERNITY_PEN,
)  # fmt: skip


class Facility(FarmRecord):
    """A housing unit or yard; results are judged facility by facility."""

    name = models.CharField(_("name"), max_length=120)
    kind = models.CharField(_("kind"), max_length=20, choices=FacilityKind, default=FacilityKind.OTHER)
    position = models.PositiveSmallIntegerField(_("walking order"), default=0)
    # Decimal degrees, WGS 84. Told to the farm's people and its advisers only.
    latitude = models.FloatField(_("latitude"), null=True, blank=True)
    longitude = models.FloatField(_("longitude"), null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(name="facility_name_once_on_farm", fields=["farm", "name"]),
            models.CheckConstraint(
                name="facility_lies_on_earth",
                condition=models.Q(latitude__isnull=True, longitude__isnull=True)
                | models.Q(
                    latitude__isnull=False,
                    longitude__isnull=False,
                    latitude__range=(-90, 90),
                    longitude__range=(-180, 180),
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Season(FarmRecord):
    """The part of a year in which a farm counts. Outside it nothing is overdue."""

    opens_on = models.DateField(_("opens on"))
    closes_on = models.DateField(_("closes on"), null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(name="season_opens_once_a_day", fields=["farm", "opens_on"]),
            models.CheckConstraint(
                name="season_closes_after_it_opens",
                condition=models.Q(closes_on__isnull=True) | models.Q(closes_on__gte=models.F("opens_on")),
            ),
        ]

    def holds(self, day: date) -> bool:
        return self.opens_on <= day and (self.closes_on is None or day <= self.closes_on)
