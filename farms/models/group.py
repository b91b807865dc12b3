"""The advisory group and how it divides its farms. No farm's data: names and settings of the group only."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.ids import uuid7

LANGUAGES = [("en", "English"), ("es", "Español")]


class Group(models.Model):
    """An advisory group: a cooperative's field team, an extension office, a veterinary practice."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    name = models.CharField(_("name"), max_length=120)
    slug = models.SlugField(unique=True)
    time_zone = models.CharField(_("time zone"), max_length=64, default="UTC")
    language = models.CharField(_("language"), max_length=5, choices=LANGUAGES, default="en")
    # Decided once for the whole group: whether a free-hanging card is counted on one side or on both.
    sides_counted = models.PositiveSmallIntegerField(_("sides counted"), default=1)

    class Meta:
        constraints = [
            models.CheckConstraint(name="group_counts_one_or_two_sides", condition=models.Q(sides_counted__in=[1, 2]))
        ]

    def __str__(self) -> str:
        return self.name


class Region(models.Model):
    """One part of the group's partition; region reports are made for it.

    `split_by_housing`: from the next quarter on its reports are made by housing too, where enough farms allow it.
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="regions")
    name = models.CharField(_("name"), max_length=120)
    slug = models.SlugField()
    split_by_housing = models.BooleanField(_("by housing"), default=False, db_default=False)

    class Meta:
        constraints = [models.UniqueConstraint(name="region_slug_once_in_group", fields=["group", "slug"])]

    def __str__(self) -> str:
        return self.name


class Holding(models.Model):
    """The farms of one owner; the unit that contributes to a region report."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="holdings")
    name = models.CharField(_("name"), max_length=120)

    def __str__(self) -> str:
        return self.name
