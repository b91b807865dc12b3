"""Pesticide applications with their full record: on pages fly spray, pour-on or bait. Rows are only added.

The fields are a superset of what records of restricted-use applications ask for in the United States; no rule is named
here as binding, since rules differ by place and year.
"""

from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.chained import Chained
from farms.models.chain import ActorKind
from farms.tenancy.keys import FarmRecord, inside_farm
from monitoring.models.product import LabelFields


class AmountUnit(models.TextChoices):
    """Units in which a total is measured."""

    MILLILITER = "ml", _("milliliters")
    LITER = "l", _("liters")
    FLUID_OUNCE = "fl_oz", _("fluid ounces (US)")
    PINT = "pt", _("pints (US)")
    QUART = "qt", _("quarts (US)")
    GALLON = "gal", _("gallons (US)")
    GRAM = "g", _("grams")
    KILOGRAM = "kg", _("kilograms")
    OUNCE = "oz", _("ounces")
    POUND = "lb", _("pounds")
    PIECE = "piece", _("pieces")


class AreaUnit(models.TextChoices):
    SQUARE_METER = "m2", _("square meters")
    HECTARE = "ha", _("hectares")
    SQUARE_FOOT = "ft2", _("square feet")
    ACRE = "acre", _("acres")
    CUBIC_METER = "m3", _("cubic meters")
    CUBIC_FOOT = "ft3", _("cubic feet")


class Target(models.TextChoices):
    HOUSE_FLIES = "house_flies", _("house flies")
    STABLE_FLIES = "stable_flies", _("stable flies")
    BOTH = "both", _("house flies and stable flies")
    MAGGOTS = "maggots", _("maggots")
    OTHER_FLIES = "other_flies", _("other flies")


class CertifierSaid(models.TextChoices):
    ALLOWED = "allowed", _("allowed")
    ON_CONDITIONS = "on_conditions", _("allowed on conditions")
    NOT_ALLOWED = "not_allowed", _("not allowed")


class Application(LabelFields, FarmRecord):
    """One application. The label's words are copied from the group's list or typed, so that the record stands alone.

    A later row replaces an earlier one to mend a typing error, with the reason; both stay. Names of people lie in
    ApplicationPeople. `through_link`: filled in by a hired sprayer at a one-time link, see ApplicationCheck.
    """

    facility_id = models.UUIDField(null=True)
    facility = inside_farm("farms.Facility", "facility_id", related_name="applications", null=True)
    place = models.CharField(_("place in it"), max_length=200, blank=True, default="")
    # Of the group's list where it was taken from there; no foreign key, since the group's list is no farm's.
    product_id = models.UUIDField(null=True)
    amount = models.DecimalField(_("total amount"), max_digits=12, decimal_places=4)
    amount_unit = models.CharField(_("unit"), max_length=5, choices=AmountUnit)
    area = models.DecimalField(_("size of area"), max_digits=12, decimal_places=4, null=True)
    area_unit = models.CharField(_("unit"), max_length=4, choices=AreaUnit, blank=True, default="")
    animals = models.PositiveIntegerField(_("number of animals"), null=True)
    target = models.CharField(_("against"), max_length=12, choices=Target)
    begins_at = models.DateTimeField(_("begun"))
    ends_at = models.DateTimeField(_("ended"))
    # From the label's intervals and the end of the application; NULL where the label names none.
    milk_until = models.DateTimeField(null=True)
    meat_until = models.DateTimeField(null=True)
    reentry_id = models.UUIDField(null=True)
    reentry = inside_farm("monitoring.Reentry", "reentry_id", null=True)
    certifier_answer_id = models.UUIDField(null=True)
    certifier_answer = inside_farm("monitoring.CertifierAnswer", "certifier_answer_id", null=True)
    # The day of a plan that it stands for.
    planned_id = models.UUIDField(null=True)
    planned = inside_farm("monitoring.PlannedWork", "planned_id", null=True)
    planned_for = models.DateField(null=True)
    # Opaque: of a user, a key or a one-time link. No foreign key, so that erasing works.
    typed_by = models.UUIDField(null=True)
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    through_link = models.BooleanField(default=False)
    from_paper = models.BooleanField(_("typed from paper"), default=False)
    recorded_at = models.DateTimeField()
    replaces_id = models.UUIDField(null=True)
    replaces = inside_farm("monitoring.Application", "replaces_id", null=True)
    reason = models.CharField(_("why it is changed"), max_length=200, blank=True, default="")
    entry = models.BigIntegerField()

    chained = Chained()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="application_is_replaced_once",
                fields=["farm", "replaces_id"],
                condition=models.Q(replaces_id__isnull=False),
            ),
            models.UniqueConstraint(
                name="planned_day_is_applied_once",
                fields=["farm", "planned_id", "planned_for"],
                condition=models.Q(planned_id__isnull=False, replaces_id__isnull=True),
            ),
            models.CheckConstraint(
                name="application_planned_names_its_day",
                condition=models.Q(planned_id__isnull=True, planned_for__isnull=True)
                | models.Q(planned_id__isnull=False, planned_for__isnull=False),
            ),
            models.CheckConstraint(
                name="application_replaced_says_why",
                condition=models.Q(replaces_id__isnull=True, reason="")
                | models.Q(replaces_id__isnull=False) & ~models.Q(reason=""),
            ),
            models.CheckConstraint(
                name="application_ends_after_it_begins", condition=models.Q(ends_at__gte=models.F("begins_at"))
            ),
            models.CheckConstraint(name="application_amount_above_zero", condition=models.Q(amount__gt=0)),
            models.CheckConstraint(
                name="application_area_has_its_unit",
                condition=models.Q(area__isnull=True, area_unit="") | models.Q(area__gt=0) & ~models.Q(area_unit=""),
            ),
            models.CheckConstraint(
                name="application_has_area_or_animals",
                condition=models.Q(area__isnull=False) | models.Q(animals__gt=0),
            ),
        ]
        indexes = [models.Index(name="application_by_day", fields=["farm", "begins_at"])]


class ApplicationPeople(FarmRecord):
    """Who applied, and for whom: apart, so that it can be erased. Chained by a salted hash."""

    application_id = models.UUIDField()
    application = inside_farm("monitoring.Application", "application_id")
    applicator = models.CharField(_("applicator"), max_length=120)
    certificate = models.CharField(_("certificate number"), max_length=60, blank=True, default="")
    uncertified = models.CharField(_("applicator without a certificate"), max_length=120, blank=True, default="")
    done_for = models.CharField(_("for whom"), max_length=120, blank=True, default="")
    salt = models.BinaryField(max_length=16)
    entry = models.BigIntegerField()

    chained = Chained(salted=("applicator", "certificate", "uncertified", "done_for"))

    class Meta:
        constraints = [models.UniqueConstraint(name="people_once_an_application", fields=["farm", "application_id"])]


class ApplicationCheck(FarmRecord):
    """What the farm said to a record that a hired sprayer filled in: so it was, or not so, and why."""

    application_id = models.UUIDField()
    application = inside_farm("monitoring.Application", "application_id")
    confirmed = models.BooleanField()
    reason = models.CharField(_("why not"), max_length=200, blank=True, default="")
    checked_by = models.UUIDField(null=True)
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    checked_at = models.DateTimeField()
    entry = models.BigIntegerField()

    chained = Chained()

    class Meta:
        constraints = [
            models.UniqueConstraint(name="application_is_checked_once", fields=["farm", "application_id"]),
            models.CheckConstraint(
                name="application_check_says_why",
                condition=models.Q(confirmed=True, reason="") | models.Q(confirmed=False) & ~models.Q(reason=""),
            ),
        ]


class SprayerLink(FarmRecord):
    """A one-time address at which a hired sprayer fills in one application. Only its key's hash is kept."""

    key_hash = models.BinaryField(max_length=32)
    made_by_id = models.UUIDField()
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True)
    withdrawn_at = models.DateTimeField(null=True)

    class Meta:
        # Read by find_sprayer_link, who knows no farm yet.
        indexes = [models.Index(name="sprayer_link_by_key", fields=["key_hash"])]


class OrganicMark(FarmRecord):
    """From a day on the farm is kept organic, or is so no more. The newest row of the latest day holds."""

    is_organic = models.BooleanField(_("organic"))
    from_on = models.DateField(_("from"))
    marked_by = models.UUIDField(null=True)
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    recorded_at = models.DateTimeField()
    entry = models.BigIntegerField()

    chained = Chained()


class CertifierAnswer(FarmRecord):
    """What the organic certifier was asked about a product, and answered. Rows are only added; the newest holds."""

    product_name = models.CharField(_("product, as on the label"), max_length=120)
    registration_number = models.CharField(_("registration number"), max_length=40)
    asked_on = models.DateField(_("asked on"))
    answered_on = models.DateField(_("answered on"))
    said = models.CharField(_("answer"), max_length=13, choices=CertifierSaid)
    words = models.CharField(_("in the certifier's words"), max_length=300, blank=True, default="")
    typed_by = models.UUIDField(null=True)
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    recorded_at = models.DateTimeField()
    entry = models.BigIntegerField()

    chained = Chained()

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="certifier_answers_after_asked", condition=models.Q(answered_on__gte=models.F("asked_on"))
            )
        ]
