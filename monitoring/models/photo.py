"""Photos taken on a round: of a card, or of a place where flies hatch. Rows are only added; a picture can be erased."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.chained import Chained, KeptApart
from farms.models.chain import ActorKind
from farms.tenancy.keys import FarmRecord, inside_farm


class PhotoKind(models.TextChoices):
    CARD = "card", _("a card or trap")
    HATCHING = "hatching", _("a place where flies hatch")


class Photo(FarmRecord):
    """What is known of a photo; the picture itself lies apart, where it can be erased and no list reads it.

    Its id is the client's, so that sending it five times stores it once. `picture_hash` is the salted SHA-256 of the
    picture: with the salt erased it tells nothing, and the chain still holds.
    """

    round_id = models.UUIDField()
    round = inside_farm("monitoring.Round", "round_id", related_name="photos")
    station_id = models.UUIDField(null=True)
    station = inside_farm("monitoring.Station", "station_id", null=True)
    facility_id = models.UUIDField(null=True)
    facility = inside_farm("farms.Facility", "facility_id", null=True)
    kind = models.CharField(_("what it shows"), max_length=8, choices=PhotoKind)
    # By the sender's clock; recorded, never trusted.
    taken_at = models.DateTimeField()
    # Position on the plan, each from 0 (left, top) to 1.
    x = models.FloatField(null=True)
    y = models.FloatField(null=True)
    width = models.PositiveSmallIntegerField()
    height = models.PositiveSmallIntegerField()
    picture_hash = models.CharField(max_length=64)
    # Opaque: of a user, a farm phone or a key. No foreign key, so that erasing works.
    sent_by = models.UUIDField(null=True)
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    received_at = models.DateTimeField()
    entry = models.BigIntegerField()
    chained = Chained(shown=True)

    # Whether it came in with this request; known to whoever just added it.
    is_new = False

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="photo_lies_on_the_plan",
                condition=models.Q(x__isnull=True, y__isnull=True) | models.Q(x__range=(0, 1), y__range=(0, 1)),
            ),
        ]
        indexes = [
            models.Index(name="photo_by_round", fields=["farm", "round_id"]),
            # Reader: monitoring.selectors.photo.hatching_places.
            models.Index(name="photo_by_kind", fields=["farm", "kind", "taken_at"]),
        ]


class PhotoPicture(FarmRecord):
    """The bytes of a photo, large and small, both JPEG as made anew on arrival; erased together with their salt.

    `sent_hash` is the salted SHA-256 of the file as it was sent, by which the same file is known again.
    """

    photo_id = models.UUIDField()
    photo = inside_farm("monitoring.Photo", "photo_id")
    picture = models.BinaryField()
    small = models.BinaryField()
    sent_hash = models.CharField(max_length=64)
    salt = models.BinaryField(max_length=16)
    chained = KeptApart(content="picture", told_by="photo__picture_hash")

    class Meta:
        constraints = [models.UniqueConstraint(name="picture_once_a_photo", fields=["farm", "photo_id"])]
