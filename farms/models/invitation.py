"""Invitations by mail: to a farm, to a group, or to begin a farm in it. The address is stored as its hash."""

from datetime import datetime

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from farms.ids import uuid7
from farms.models.access import FarmRole
from farms.models.group import LANGUAGES, Group, Region
from farms.models.people import User
from farms.tenancy.keys import FarmRecord


class Invited(models.Model):
    """Who was invited by whom, in which language, and what became of it.

    A new key is made each time the mail is sent; the one before opens nothing then.
    """

    email = models.EmailField(_("e-mail address"))
    name = models.CharField(_("name"), max_length=120)
    language = models.CharField(_("language"), max_length=5, choices=LANGUAGES)
    key_hash = models.BinaryField(max_length=32)
    invited_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    sent_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    accepted_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    accepted_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        abstract = True

    def waits(self) -> bool:
        """Neither accepted nor withdrawn; its address may have ended, and then the mail can be sent again."""
        return self.accepted_at is None and self.withdrawn_at is None

    def has_ended(self, now: datetime) -> bool:
        return self.expires_at <= now


WAITS = Q(accepted_at__isnull=True, withdrawn_at__isnull=True)


class Invitation(Invited, FarmRecord):
    """An invitation to a farm, as its recorder or owner."""

    role = models.CharField(_("role"), max_length=12, choices=FarmRole)

    class Meta:
        constraints = [
            models.UniqueConstraint(name="invitation_once_while_it_waits", fields=["farm", "email"], condition=WAITS)
        ]
        # Reader: find_invitation(), which knows the hash and not yet the farm.
        indexes = [models.Index(name="invitation_by_key_hash", fields=["key_hash"])]

    is_to_a_farm = True


class GroupInvitedAs(models.TextChoices):
    COORDINATOR = "coordinator", _("coordinator")
    ADVISER = "adviser", _("adviser")
    GUEST = "guest", _("guest")
    # The first owner of a farm that is registered when they accept.
    OWNER = "owner", _("owner")


class GroupInvitation(Invited):
    """A coordinator's invitation: to the group, or to a farm that the group registers as soon as its owner accepts.

    Nothing of a farm is in it, since there is none yet. `stays_until` is a guest's last moment.
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="+")
    role = models.CharField(_("role"), max_length=12, choices=GroupInvitedAs)
    stays_until = models.DateTimeField(null=True, blank=True)
    farm_name = models.CharField(_("farm"), max_length=120, blank=True)
    holding_name = models.CharField(_("holding"), max_length=120, blank=True)
    region = models.ForeignKey(Region, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    time_zone = models.CharField(_("time zone"), max_length=64, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="group_invitation_names_a_farm_for_its_owner_only",
                condition=Q(role=GroupInvitedAs.OWNER, region__isnull=False) & ~Q(farm_name="")
                | ~Q(role=GroupInvitedAs.OWNER) & Q(region__isnull=True, farm_name=""),
            ),
            models.CheckConstraint(
                name="only_an_invited_guest_stays_until",
                condition=Q(role=GroupInvitedAs.GUEST, stays_until__isnull=False)
                | ~Q(role=GroupInvitedAs.GUEST) & Q(stays_until__isnull=True),
            ),
            models.UniqueConstraint(
                name="group_invitation_once_while_it_waits",
                fields=["group", "email", "role", "farm_name"],
                condition=WAITS,
            ),
        ]
        indexes = [models.Index(name="group_invitation_by_key_hash", fields=["key_hash"])]

    @property
    def is_to_a_farm(self) -> bool:
        return bool(self.farm_name)
