"""A group's rules: on or off, and its own numbers. Rows are only added."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from alerts.models.alert import Rule
from farms.ids import uuid7


class GroupRule(models.Model):
    """How a rule works in a group from a day on, until a later row replaces it.

    `numbers` are those that the group changed, by name; the others are as usual (alerts.rules).
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey("farms.Group", on_delete=models.PROTECT, related_name="rules")
    rule = models.CharField(_("rule"), max_length=16, choices=Rule)
    is_on = models.BooleanField(_("on"))
    numbers = models.JSONField(default=dict)
    valid_from = models.DateField(_("from"))
    reason = models.CharField(_("reason"), max_length=300)
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(name="group_rule_by_day", fields=["group", "rule", "valid_from"])]
