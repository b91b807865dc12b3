"""Fly walks: a look for places where flies hatch, what was found, and what became of it. Rows are only added."""

from uuid import UUID

from django.db import models
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from farms.chained import Chained, KeptApart
from farms.models.chain import ActorKind
from farms.tenancy.keys import FarmRecord, inside_farm
from monitoring.models.words import Words


class Place(models.TextChoices):
    """Where flies hatch on a dairy: common practice, no source. Which are asked about where: monitoring.rules.walk."""

    PEN_CORNERS = "pen_corners", _("corners and edges of pens")
    HUTCH_EDGES = "hutch_edges", _("around and under hutches")
    BEDDING = "bedding", _("wet bedding")
    WATERERS = "waterers", _("under waterers")
    FEED_BUNKS = "feed_bunks", _("along feed bunks")
    SPILLED_FEED = "spilled_feed", _("spilled feed")
    MANGERS = "mangers", _("mangers")
    SPILLED_MILK = "spilled_milk", _("where milk is mixed or spilled")
    GUTTERS = "gutters", _("gutters")
    DRAINS = "drains", _("drains and their edges")
    OUT_OF_SCRAPERS_REACH = "out_of_reach", _("manure that a scraper cannot reach")
    ALLEY_ENDS = "alley_ends", _("ends of alleys")
    FENCE_LINES = "fence_lines", _("under fences and gates")
    MANURE_PILE = "manure_pile", _("manure pile and its edges")
    LAGOON_EDGES = "lagoon_edges", _("edges and crust of the lagoon or pit")
    SILO_EDGES = "silo_edges", _("around silos")
    SILAGE_EDGES = "silage_edges", _("edges of silage and what seeps from it")
    HAY_RINGS = "hay_rings", _("old hay rings")
    WINTER_PACK = "winter_pack", _("the winter's bedded pack")
    HUTCH_GROUND = "hutch_ground", _("where hutches stood")
    OTHER = "other", _("another place")


class Material(models.TextChoices):
    MANURE = "manure", _("manure")
    BEDDING = "bedding", _("bedding")
    FEED = "feed", _("feed")
    SILAGE = "silage", _("silage")
    HAY = "hay", _("hay or straw")
    SOIL = "soil", _("soil or mud")
    OTHER = "other", _("something else")


class Moisture(models.TextChoices):
    # By itself "wet" is what became of a card.
    WET = "wet", pgettext_lazy("a place where flies hatch", "wet")
    DRY = "dry", pgettext_lazy("a place where flies hatch", "dry")


class Amount(models.TextChoices):
    NONE = "none", _("none")
    SOME = "some", _("some")
    MANY = "many", _("many")


class StepKind(models.TextChoices):
    DONE = "done", _("done")
    STILL_THERE = "still_there", _("looked again: still there")
    GONE = "gone", _("looked again: gone")
    # Only where it replaces another step.
    WITHDRAWN = "withdrawn", _("noted by mistake")


class FindingState(models.TextChoices):
    """How a finding stands, by its newest step; derived, stored nowhere."""

    NOTHING = "nothing", _("nothing found")
    TO_DO = "to_do", _("to do")
    TO_CHECK = "to_check", _("to look at again")
    GONE = "gone", _("gone")


class Noted(FarmRecord):
    """Who noted a row and when. `noted_by` is opaque: of a user or a key, no foreign key, so that erasing works."""

    noted_by = models.UUIDField(null=True)
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    recorded_at = models.DateTimeField()
    # Salted SHA-256 of the words beside the row; empty where there are none.
    words_hash = models.CharField(max_length=64, blank=True, default="")
    entry = models.BigIntegerField()

    class Meta:
        abstract = True


class Walk(FarmRecord):
    """One look around on one day; what was looked at are its findings. Its id is the client's, so it is stored once.

    It may have begun for a barn or lot, at a station that stood out, or from an open matter. That one is of the floor
    above: its id is checked at the door and has no foreign key.
    """

    walked_on = models.DateField(_("walked on"))
    facility_id = models.UUIDField(null=True)
    facility = inside_farm("farms.Facility", "facility_id", null=True)
    station_id = models.UUIDField(null=True)
    station = inside_farm("monitoring.Station", "station_id", null=True)
    alert_id = models.UUIDField(null=True)
    noted_by = models.UUIDField(null=True)
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    recorded_at = models.DateTimeField()
    entry = models.BigIntegerField()

    chained = Chained()

    class Meta:
        indexes = [models.Index(name="walk_by_day", fields=["farm", "walked_on"])]


class Finding(Noted):
    """What was found at one place. "Nothing found" is a finding too; a place that nobody looked at has no row.

    A later row replaces an earlier one to mend it, with the reason; `origin_id` is the first of them, by which the
    finding is known. A withdrawn one was noted by mistake.
    """

    walk_id = models.UUIDField()
    walk = inside_farm("monitoring.Walk", "walk_id", related_name="findings")
    facility_id = models.UUIDField(null=True)
    facility = inside_farm("farms.Facility", "facility_id", null=True)
    station_id = models.UUIDField(null=True)
    station = inside_farm("monitoring.Station", "station_id", null=True)
    place = models.CharField(_("place"), max_length=16, choices=Place)
    seen_on = models.DateField(_("looked at on"))
    nothing = models.BooleanField(_("nothing found"), default=False)
    material = models.CharField(_("material"), max_length=8, choices=Material, blank=True, default="")
    moisture = models.CharField(_("wet or dry"), max_length=3, choices=Moisture, blank=True, default="")
    larvae = models.CharField(_("maggots"), max_length=4, choices=Amount, blank=True, default="")
    pupae = models.CharField(_("pupae"), max_length=4, choices=Amount, blank=True, default="")
    due_on = models.DateField(_("by when"), null=True)
    # Position on the plan, each from 0 (left, top) to 1.
    x = models.FloatField(null=True)
    y = models.FloatField(null=True)
    origin_id = models.UUIDField(null=True)
    origin = inside_farm("monitoring.Finding", "origin_id", null=True)
    replaces_id = models.UUIDField(null=True)
    replaces = inside_farm("monitoring.Finding", "replaces_id", null=True)
    withdrawn = models.BooleanField(default=False)

    chained = Chained()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="finding_is_replaced_once",
                fields=["farm", "replaces_id"],
                condition=models.Q(replaces_id__isnull=False),
            ),
            models.CheckConstraint(
                name="finding_lies_on_the_plan",
                condition=models.Q(x__isnull=True, y__isnull=True)
                | models.Q(x__isnull=False, y__isnull=False, x__range=(0, 1), y__range=(0, 1)),
            ),
            models.CheckConstraint(
                name="finding_of_nothing_has_no_maggots_and_no_day",
                condition=models.Q(nothing=False)
                | models.Q(larvae__in=("", "none"), pupae__in=("", "none"), due_on__isnull=True),
            ),
            models.CheckConstraint(
                name="finding_replaced_names_its_first",
                condition=models.Q(replaces_id__isnull=True, origin_id__isnull=True, withdrawn=False)
                | models.Q(replaces_id__isnull=False, origin_id__isnull=False),
            ),
        ]
        indexes = [
            models.Index(name="finding_by_walk", fields=["farm", "walk_id"]),
            # Readers: monitoring.selectors.walk, of the versions of a finding.
            models.Index(name="finding_by_origin", fields=["farm", "origin_id"]),
        ]

    @property
    def known_as(self) -> UUID:
        """The id by which it is known, however often it was mended."""
        found: UUID = self.origin_id or self.id
        return found


class FindingWords(Words):
    """The place in own words, what to do, by whom, a note; where it replaces another, why."""

    finding_id = models.UUIDField()
    finding = inside_farm("monitoring.Finding", "finding_id")

    chained = KeptApart(content="words", told_by="finding__words_hash")

    class Meta:
        constraints = [models.UniqueConstraint(name="words_once_a_finding", fields=["farm", "finding_id"])]


class FindingStep(Noted):
    """What became of a finding: done on a day, looked at again on a day. `finding_id` is its first version's.

    `number` is its place among the finding's steps; one that replaces another keeps it. `due_on` is the day of what
    comes next: to look again, or to do it after all.
    """

    finding_id = models.UUIDField()
    finding = inside_farm("monitoring.Finding", "finding_id", related_name="steps")
    number = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=11, choices=StepKind)
    on = models.DateField(_("on"))
    due_on = models.DateField(null=True)
    replaces_id = models.UUIDField(null=True)
    replaces = inside_farm("monitoring.FindingStep", "replaces_id", null=True)

    chained = Chained()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="finding_step_is_replaced_once",
                fields=["farm", "replaces_id"],
                condition=models.Q(replaces_id__isnull=False),
            ),
            models.UniqueConstraint(
                name="finding_step_number_once",
                fields=["farm", "finding_id", "number"],
                condition=models.Q(replaces_id__isnull=True),
            ),
            models.CheckConstraint(
                name="finding_step_withdrawn_replaces_one",
                condition=~models.Q(kind="withdrawn") | models.Q(replaces_id__isnull=False),
            ),
        ]
        indexes = [models.Index(name="finding_step_by_finding", fields=["farm", "finding_id"])]


class FindingStepWords(Words):
    """A note on a step; where it replaces another, why."""

    step_id = models.UUIDField()
    step = inside_farm("monitoring.FindingStep", "step_id")

    chained = KeptApart(content="words", told_by="step__words_hash")

    class Meta:
        constraints = [models.UniqueConstraint(name="words_once_a_finding_step", fields=["farm", "step_id"])]


class FindingPhoto(FarmRecord):
    """What is known of a photo of a finding (its first version's id); the picture lies apart, as a round's does."""

    finding_id = models.UUIDField()
    finding = inside_farm("monitoring.Finding", "finding_id", related_name="photos")
    width = models.PositiveSmallIntegerField()
    height = models.PositiveSmallIntegerField()
    picture_hash = models.CharField(max_length=64)
    sent_by = models.UUIDField(null=True)
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    received_at = models.DateTimeField()
    entry = models.BigIntegerField()

    chained = Chained()
    # Whether it came in with this request; known to whoever just added it.
    is_new = False

    class Meta:
        indexes = [models.Index(name="finding_photo_by_finding", fields=["farm", "finding_id"])]


class FindingPicture(FarmRecord):
    """The bytes of a finding's photo, large and small, made anew on arrival; erased together with their salt."""

    photo_id = models.UUIDField()
    photo = inside_farm("monitoring.FindingPhoto", "photo_id")
    picture = models.BinaryField()
    small = models.BinaryField()
    sent_hash = models.CharField(max_length=64)
    salt = models.BinaryField(max_length=16)

    chained = KeptApart(content="picture", told_by="photo__picture_hash")

    class Meta:
        constraints = [models.UniqueConstraint(name="picture_once_a_finding_photo", fields=["farm", "photo_id"])]
