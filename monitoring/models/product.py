"""The group's list of products: what somebody typed from each label. No farm's data. Rows are only added."""

from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.ids import uuid7

NOT_GROUPED = "none"
# IRAC's mode-of-action groups that have uses against house flies (IRAC, mode of action classification, poster); any
# other group of that classification may be typed as well.
USUAL_GROUPS = ("1A", "1B", "3A", "4A", "5", "7C", "15", "17", "28")


class ProductKind(models.TextChoices):
    """What a product is for, as its label says."""

    RESIDUAL = "residual", _("residual spray, on walls and surfaces")
    SPACE = "space", _("space spray or fog")
    BAIT = "bait", _("bait")
    LARVICIDE = "larvicide", _("larvicide, on manure or bedding")
    FEED_THROUGH = "feed_through", _("feed-through")
    ON_ANIMALS = "on_animals", _("pour-on or spray on animals")


ON_MAGGOTS = (ProductKind.LARVICIDE, ProductKind.FEED_THROUGH)


class LabelFields(models.Model):
    """What a label says of a product, as it was typed. Times are NULL where the label names none in hours or days."""

    name = models.CharField(_("product, as on the label"), max_length=120)
    registration_number = models.CharField(_("registration number"), max_length=40)
    substances = models.CharField(_("active substance"), max_length=200)
    # Several for a mixture; "none" alone for what is in no group.
    irac_groups = ArrayField(models.CharField(max_length=4), verbose_name=_("IRAC group"))
    kind = models.CharField(_("kind of product"), max_length=12, choices=ProductKind)
    reentry_hours = models.PositiveSmallIntegerField(_("keep out, hours"), null=True)
    reentry_words = models.CharField(_("what the label says about going in again"), max_length=200, default="")
    milk_hours = models.PositiveSmallIntegerField(_("milk withheld, hours"), null=True)
    meat_days = models.PositiveSmallIntegerField(_("meat withheld, days"), null=True)

    class Meta:
        abstract = True


class Product(LabelFields):
    """One product of the group's list. A later row replaces an earlier one, or takes it off the list; all stay."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey("farms.Group", on_delete=models.PROTECT, related_name="products")
    typed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    typed_at = models.DateTimeField()
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="replaced_by")
    taken_off = models.BooleanField(default=False)


class CertificateAsked(models.Model):
    """Whether the group asks for the applicator's certificate; the newest row holds."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey("farms.Group", on_delete=models.PROTECT, related_name="+")
    asked = models.BooleanField()
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()
