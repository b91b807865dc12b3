"""What is known of the service's own running: a row a group, and when the bell last rang. No number of a farm.

The worker, who sees every farm, counts; the pages and watchers, who see none, read. Moments are stored and not ages,
and of the weeks the first that is not done, even where it is still to come: so that a reader knows by its own clock
that a week is late while no worker is left to say so.
"""

from django.db import models


class Running(models.Model):
    """One group's checks, mails, farms set aside and imports, as they were last counted.

    The counts from `to_judge` to `written` are of the newest week that was judged. When they have matched once they
    are kept (`settled_at`): a season that somebody opens later, for a day that is past, does not undo a check. Where a
    farm's own day for its mail comes later in the week, mails are counted again, and farms to judge are not.
    """

    group = models.OneToOneField("farms.Group", primary_key=True, on_delete=models.PROTECT, related_name="+")
    due_week = models.DateField(null=True, help_text="The first week that is not judged, also one that is to come.")
    due_at = models.DateTimeField(null=True, help_text="The moment from which it is due.")
    week = models.DateField(null=True, help_text="The newest week that was judged.")
    to_judge = models.IntegerField(default=0, help_text="Farms in season, or with something open.")
    judged = models.IntegerField(default=0)
    failed = models.IntegerField(default=0, help_text="Set aside with an error while the week was judged.")
    owed = models.IntegerField(default=0, help_text="Farms judged, whose owners get a mail.")
    written = models.IntegerField(default=0, help_text="Of those, farms with a mail of the week.")
    settled_at = models.DateTimeField(null=True)
    waiting = models.IntegerField(default=0)
    sending = models.IntegerField(default=0)
    sent = models.IntegerField(default=0, help_text="Mails of the newest week.")
    refused = models.IntegerField(default=0, help_text="Mails of the newest week.")
    mails_counted_at = models.DateTimeField(null=True)
    # Of those that wait, but for a mail that its own mailbox puts off while more of its week have left.
    oldest_mail_at = models.DateTimeField(null=True)
    set_aside = models.IntegerField(default=0, help_text="Farms and weeks not solved yet.")
    retry_at = models.DateTimeField(null=True, help_text="When the first of them is tried again.")
    # Written by the pages, taken and emptied by the worker: they may touch no farm's row.
    retry_asked_at = models.DateTimeField(null=True)
    imports = models.IntegerField(default=0)
    oldest_import_at = models.DateTimeField(null=True)
    hooks = models.IntegerField(default=0, db_default=0, help_text="Messages that wait for webhooks switched on.")
    oldest_hook_at = models.DateTimeField(null=True)
    hooks_failing = models.IntegerField(default=0, db_default=0, help_text="Webhooks that last took nothing.")


class Ring(models.Model):
    """When the worker last heard the bell. In PostgreSQL, since the broker may be emptied at any time."""

    name = models.CharField(max_length=20, primary_key=True)
    rung_at = models.DateTimeField()
