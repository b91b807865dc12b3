"""The farm's own log: who came in, which key was made or ended, what was taken out, what was agreed to."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.models.chain import ActorKind
from farms.tenancy.keys import FarmRecord


class LogKind(models.TextChoices):
    SIGN_IN = "sign_in", _("signed in")
    TOKEN_MADE = "token_made", _("key made")
    TOKEN_ENDED = "token_ended", _("key switched off")
    PHONE_JOINED = "phone_joined", _("farm phone joined")
    EXPORT = "export", _("data taken out")
    CONSENT_GIVEN = "consent_given", _("agreed to")
    CONSENT_WITHDRAWN = "consent_withdrawn", _("agreement withdrawn")
    FEED_MADE = "feed_made", _("feed address made")
    FEED_ENDED = "feed_ended", _("feed address switched off")
    INVITED = "invited", _("invited by mail")
    INVITED_AGAIN = "invited_again", _("invited by mail again")
    INVITATION_WITHDRAWN = "invitation_withdrawn", _("invitation withdrawn")
    MEMBER_ADDED = "member_added", _("role given")
    MEMBER_ENDED = "member_ended", _("role ended")
    ADVISER_LEFT = "adviser_left", _("the adviser left")
    SUCCESSOR_NAMED = "successor_named", _("next adviser named")
    SUCCESSOR_REFUSED = "successor_refused", _("no to the next adviser")
    WEBHOOK_MADE = "webhook_made", _("webhook made")
    WEBHOOK_CHANGED = "webhook_changed", _("webhook changed")
    WEBHOOK_ENDED = "webhook_ended", _("webhook taken away")
    AGREEMENT_ACCEPTED = "agreement_accepted", _("data agreement accepted")
    AGREEMENT_ON_PAPER = "agreement_on_paper", _("signed data agreement kept")
    PAPER_ERASED = "paper_erased", _("signed paper erased")
    PHOTO_ERASED = "photo_erased", _("photo erased")
    SPRAYER_LINK_MADE = "sprayer_link_made", _("link for a hired sprayer made")
    SPRAYER_LINK_ENDED = "sprayer_link_ended", _("link for a hired sprayer taken back")
    ERASURE_ASKED = "erasure_asked", _("erasing the farm asked for")
    ERASURE_TAKEN_BACK = "erasure_taken_back", _("erasing the farm taken back")
    PERSON_TO_ERASE = "person_to_erase", _("erasing a person asked for")
    PERSON_KEPT = "person_kept", _("erasing a person taken back")
    PERSON_ERASED = "person_erased", _("a person was erased")
    HANDED_OVER = "handed_over", _("handed over to another group")


class LogEvent(FarmRecord):
    """One line of the log. Names stay out of it: `actor_id` is opaque, `about` says which key or table it was."""

    at = models.DateTimeField()
    kind = models.CharField(max_length=20, choices=LogKind)
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    actor_id = models.UUIDField(null=True)
    about = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [models.Index(name="log_event_by_time", fields=["farm", "at"])]
