"""Who may see what: memberships, consents, API tokens, farm phones, sign-in links."""

from datetime import datetime

from django.db import models
from django.db.models.functions import Now
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from farms.chained import Chained
from farms.ids import uuid7
from farms.models.group import Group
from farms.models.people import User
from farms.tenancy.keys import FarmRecord


class FarmRole(models.TextChoices):
    RECORDER = "recorder", _("recorder")
    OWNER = "owner", _("owner")


class GroupRole(models.TextChoices):
    ADVISER = "adviser", _("adviser")
    COORDINATOR = "coordinator", _("coordinator")
    GUEST = "guest", _("guest")


class Membership(FarmRecord):
    """A person's role on one farm."""

    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="memberships")
    role = models.CharField(_("role"), max_length=12, choices=FarmRole)
    began_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="membership_once_while_it_lasts",
                fields=["farm", "user"],
                condition=models.Q(ended_at__isnull=True),
            )
        ]
        indexes = [models.Index(name="membership_by_user", fields=["user"])]


class GroupMembers(models.QuerySet["GroupMember"]):
    def lasting(self) -> "GroupMembers":
        """Roles that are neither ended nor, a guest's, past their day: by the database's clock, as a key's life."""
        by_itself = models.Q(ends_at__isnull=True) | models.Q(ends_at__gt=Now())
        return self.filter(by_itself, ended_at__isnull=True)


class GroupMember(models.Model):
    """An adviser, a coordinator or a coordinator's guest. Sees no farm by it: that takes the farm's consent.

    A guest reads the region reports, until `ends_at`, and has the `name` that the coordinator wrote.
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="members")
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="group_roles")
    role = models.CharField(_("role"), max_length=12, choices=GroupRole)
    ends_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    name = models.CharField(_("name"), max_length=120, blank=True)

    objects = GroupMembers.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="only_a_group_guest_ends_by_itself",
                condition=models.Q(role=GroupRole.GUEST, ends_at__isnull=False)
                | (~models.Q(role=GroupRole.GUEST) & models.Q(ends_at__isnull=True)),
            ),
            models.UniqueConstraint(
                name="group_role_once_while_it_lasts",
                fields=["group", "user", "role"],
                condition=models.Q(ended_at__isnull=True),
            ),
        ]


class ConsentKind(models.TextChoices):
    ADVISER = "adviser", _("see the farm as its adviser")
    REGIONAL = "regional", _("count the farm in region reports")


class Consent(FarmRecord):
    """The farm's yes to its adviser, or to the regional comparison. Withdrawn, it ends at once.

    `whoever_follows`: the owner agreed to the next adviser, too, should this one leave the group.
    """

    # Columns that are younger than the chain; entries from before them hold their rows without.
    chained_where_known = ("whoever_follows",)

    kind = models.CharField(_("kind"), max_length=10, choices=ConsentKind)
    adviser = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT, related_name="consents")
    given_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    given_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    whoever_follows = models.BooleanField(null=True, blank=True)
    entry = models.BigIntegerField()
    chained = Chained(ends=("withdrawn_at", ("consent_withdrawn", "adviser_left")))

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="consent_names_an_adviser_only_where_it_is_for_one",
                condition=models.Q(kind=ConsentKind.ADVISER, adviser__isnull=False)
                | models.Q(kind=ConsentKind.REGIONAL, adviser__isnull=True),
            ),
            models.UniqueConstraint(
                name="adviser_consent_once_while_it_lasts",
                fields=["farm", "adviser"],
                condition=models.Q(withdrawn_at__isnull=True, kind=ConsentKind.ADVISER),
            ),
            models.UniqueConstraint(
                name="regional_consent_once_while_it_lasts",
                fields=["farm"],
                condition=models.Q(withdrawn_at__isnull=True, kind=ConsentKind.REGIONAL),
            ),
        ]
        indexes = [models.Index(name="consent_by_adviser", fields=["adviser"])]


class TokenScope(models.TextChoices):
    READ = "read", _("read")
    WRITE = "write", _("read and write")
    COUNT = "count", _("farm phone: send rounds only")


class ApiToken(FarmRecord):
    """A program's key, or a farm phone's, to one farm. Only its SHA-256 is stored; the key is shown once."""

    name = models.CharField(_("name"), max_length=120)
    scope = models.CharField(pgettext_lazy("token", "may"), max_length=5, choices=TokenScope)
    key_hash = models.BinaryField(max_length=32)
    made_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_used_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(name="token_key_once_on_farm", fields=["farm", "key_hash"])]
        # Reader: find_token(), which knows the hash and not yet the farm.
        indexes = [models.Index(name="token_by_key_hash", fields=["key_hash"])]

    def is_live(self, now: datetime) -> bool:
        return self.revoked_at is None and now < self.expires_at

    @property
    def is_authenticated(self) -> bool:
        return True


class PhoneCode(FarmRecord):
    """A one-time code, shown on screen or paper, that makes a phone this farm's for the season."""

    code_hash = models.BinaryField(max_length=32)
    made_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = [models.Index(name="phone_code_by_hash", fields=["code_hash"])]


class SignInLink(models.Model):
    """A one-time link that signs one user in, acting on POST only. Only its SHA-256 is stored."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    key_hash = models.BinaryField(max_length=32, unique=True)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)


class FeedKind(models.TextChoices):
    CALENDAR = "calendar", _("calendar of rounds due")
    MATTERS = "matters", _("open matters")


class FeedAddress(models.Model):
    """A secret address under which one person's feed is read, without signing in. Only its SHA-256 is stored."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    kind = models.CharField(max_length=10, choices=FeedKind)
    key_hash = models.BinaryField(max_length=32, unique=True)
    made_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_used_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="feed_once_a_person", fields=["user", "kind"], condition=models.Q(revoked_at__isnull=True)
            )
        ]
