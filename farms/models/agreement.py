"""The group's terms, what advisers say they sell, and a farm's yes to the data agreement. Rows are only added."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.chained import Chained
from farms.ids import uuid7
from farms.licences import LICENCE_CHOICES, USUAL
from farms.models.group import LANGUAGES, Group
from farms.models.people import User
from farms.tenancy.keys import FarmRecord, inside_farm


class GroupTerms(models.Model):
    """What holds in a group from a day on, as its coordinator wrote it; a later row holds over an earlier one."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="+")
    licence = models.CharField(_("licence"), max_length=20, choices=LICENCE_CHOICES, default=USUAL.spdx)
    sells_products = models.BooleanField(_("sells fly products"))
    contact = models.CharField(_("whom to ask"), max_length=200)
    valid_from = models.DateField(_("valid from"))
    set_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()


class AdviserDeclaration(models.Model):
    """Whether an adviser sells fly products, as they say it of themself. The newest one holds."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="+")
    adviser = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    sells_products = models.BooleanField(_("sells fly products"))
    said_at = models.DateTimeField()

    class Meta:
        # Reader: farms.agreement.said_by, of one farm's advisers.
        indexes = [models.Index(name="adviser_declaration_newest", fields=["group", "adviser", "said_at"])]


class Acceptance(FarmRecord):
    """A farm's yes to one version of the agreement under the group's `terms`, none where none were written.

    `signed_on` where it was signed on paper: `accepted_by` then brought the paper in, and who signed it stands in
    SignedPaper.
    """

    version = models.CharField(max_length=10)
    language = models.CharField(max_length=5, choices=LANGUAGES)
    terms = models.ForeignKey(GroupTerms, null=True, on_delete=models.PROTECT, related_name="+")
    accepted_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    accepted_at = models.DateTimeField()
    signed_on = models.DateField(null=True)
    entry = models.BigIntegerField()
    chained = Chained()

    class Meta:
        constraints = [models.UniqueConstraint(name="acceptance_once_an_entry", fields=["farm", "entry"])]


class ScanKind(models.TextChoices):
    PDF = "pdf", "PDF"
    JPEG = "jpeg", "JPEG"
    PNG = "png", "PNG"


class SignedPaper(FarmRecord):
    """A scan of what was signed and the signer's name; apart, so that both can be erased. Chained by salted hashes."""

    acceptance_id = models.UUIDField()
    acceptance = inside_farm("farms.Acceptance", "acceptance_id")
    signed_by = models.CharField(_("signed by"), max_length=120)
    kind = models.CharField(max_length=4, choices=ScanKind)
    scan = models.BinaryField()
    salt = models.BinaryField(max_length=16)
    entry = models.BigIntegerField()
    chained = Chained(salted=("signed_by", "scan"))

    class Meta:
        constraints = [
            models.UniqueConstraint(name="signed_paper_once_an_acceptance", fields=["farm", "acceptance_id"])
        ]
