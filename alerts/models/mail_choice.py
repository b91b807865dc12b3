"""How often a reader wants a mail of ours, and the keys that sign the address in it under which that is chosen."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.ids import uuid7
from farms.tenancy.keys import FarmRecord


class HowOften(models.TextChoices):
    EVERY_WEEK = "every_week", _("every week")
    WHEN_NEEDED = "when_needed", _("only when something needs a look")
    NONE = "none", _("no mail")


class MailKind(models.TextChoices):
    DIGEST = "digest", _("weekly mail of a farm")
    MONDAY_LIST = "monday_list", _("Monday list")
    COORDINATOR_REPORT = "coordinator_report", _("coordinator's report")
    REGION_BULLETIN = "region_bulletin", _("bulletin of a region")


class ChoiceWay(models.TextChoices):
    """By which door a choice came in. Behind `mail` stands whoever has the mail: its reader, or who got it then."""

    MAIL = "mail", _("by the address in a mail")
    PAGE = "page", _("on a page")
    API = "api", _("by a program")


class ChoiceFields(models.Model):
    """What a reader chose, when, and how. Rows are only added: the newest holds. Nobody chooses for somebody else."""

    recipient = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    how_often = models.CharField(max_length=11, choices=HowOften)
    chosen_at = models.DateTimeField()
    way = models.CharField(max_length=4, choices=ChoiceWay)

    class Meta:
        abstract = True


class DigestChoice(ChoiceFields, FarmRecord):
    """How often an owner wants the weekly mail of a farm. Seen by nobody but that owner."""

    class Meta:
        indexes = [models.Index(name="digest_choice_by_reader", fields=["farm", "recipient", "chosen_at"])]


class MondayListChoice(ChoiceFields):
    """How often an adviser wants the list of a group. Seen by nobody but the adviser."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey("farms.Group", on_delete=models.PROTECT, related_name="+")

    class Meta:
        indexes = [models.Index(name="list_choice_by_reader", fields=["group", "recipient", "chosen_at"])]


class CoordinatorReportChoice(ChoiceFields):
    """How often a coordinator wants the report of a group. Seen by nobody but the coordinator."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey("farms.Group", on_delete=models.PROTECT, related_name="+")

    class Meta:
        indexes = [models.Index(name="report_choice_by_reader", fields=["group", "recipient", "chosen_at"])]


class RegionBulletinChoice(ChoiceFields):
    """How often somebody wants the bulletin of a region: none until they ask for it. Seen by nobody else."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    region = models.ForeignKey("farms.Region", on_delete=models.PROTECT, related_name="+")

    class Meta:
        indexes = [models.Index(name="bulletin_choice_by_reader", fields=["region", "recipient", "chosen_at"])]


class ChoiceKey(models.Model):
    """A key that signs the addresses at which a choice is made without signing in.

    Kept here and not derived from SECRET_KEY: mails lie in mailboxes for years, and their way out has to work after
    SECRET_KEY was changed, which after a leak means without the old one. It goes along with every backup. Whoever has
    it can stop mails and read nothing. A new row replaces it; the old one goes on opening until it is ended.
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    key = models.BinaryField(max_length=32)
    made_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
