"""Kept out: how long a label keeps people out of a building, as somebody typed it from the label."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.chained import Chained
from farms.models.chain import ActorKind
from farms.tenancy.keys import FarmRecord, inside_farm


class Reentry(FarmRecord):
    """One re-entry time, of a facility or (None) of the whole farm. Rows are only added.

    A later row replaces an earlier one to mend a typing error, with the reason; both stay, and both are shown. The
    label's words are typed from the label: no product is named here, an application's own record does that.
    """

    facility_id = models.UUIDField(null=True)
    facility = inside_farm("farms.Facility", "facility_id", null=True)
    begins_at = models.DateTimeField(_("from"))
    until = models.DateTimeField(_("until"))
    label_says = models.CharField(_("what the label says"), max_length=200)
    # Opaque: of a user or a key. No foreign key, so that erasing works.
    typed_by = models.UUIDField(null=True)
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    recorded_at = models.DateTimeField()
    replaces_id = models.UUIDField(null=True)
    replaces = inside_farm("monitoring.Reentry", "replaces_id", null=True)
    reason = models.CharField(_("why it is changed"), max_length=200, blank=True, default="")
    entry = models.BigIntegerField()
    chained = Chained()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="reentry_is_replaced_once",
                fields=["farm", "replaces_id"],
                condition=models.Q(replaces_id__isnull=False),
            ),
            models.CheckConstraint(
                name="reentry_ends_after_it_begins", condition=models.Q(until__gt=models.F("begins_at"))
            ),
            models.CheckConstraint(
                name="reentry_replaced_says_why",
                condition=models.Q(replaces_id__isnull=True, reason="")
                | models.Q(replaces_id__isnull=False) & ~models.Q(reason=""),
            ),
        ]
        indexes = [models.Index(name="reentry_by_end", fields=["farm", "until"])]
