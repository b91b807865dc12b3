"""The pages on which something is set or kept, and the words by which somebody may look for them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy as _

from farms.access import Need
from server.web.folding import folded

# Of a question such as "where do I change the mail day?" these say nothing.
SMALL_WORDS = _(
    "a about an and are at can change do does edit find for from get how i in is it me my of on or set show the this "
    "to what when where which who with"
)


@dataclass(frozen=True)
class Page:
    """A page by the name of its address. `needs`: a right on the farm, or for a group's page its coordinator's role."""

    name: str
    title: Any
    words: Any
    needs: Need | None = None


OF_A_FARM = (
    Page("settings", _("Farm settings"), _("farm settings options"), Need.MANAGE),
    Page("stations", _("Barns, cards and traps"), _("barn lot building card trap station siting move"), Need.MANAGE),
    Page("people", _("People who count"), _("people name initials recorder counts"), Need.MANAGE),
    Page("phones", _("Farm phones"), _("farm phone code device switch"), Need.MANAGE),
    Page("levels", _("Action levels"), _("action level threshold limit"), Need.MANAGE),
    Page("seasons", _("Season"), _("season open close start end winter"), Need.MANAGE),
    Page("mail_day", _("Day of the mail"), _("mail day weekday weekly digest email"), Need.MANAGE),
    Page("closure", _("Closed to visits"), _("close closed visits visitors disease biosecurity"), Need.MANAGE),
    Page("temperatures", _("Temperatures"), _("temperature weather celsius fahrenheit degree days"), Need.RECORD),
    Page("data", _("Data to take along"), _("data export download file csv excel take along"), Need.READ),
    Page("import", _("A file of counts"), _("file import upload csv spreadsheet counts"), Need.RECORD),
    Page("paper", _("Paper sheet"), _("paper sheet type typed grid"), Need.MANAGE),
    Page("rounds", _("All rounds"), _("rounds counts history correct mistake"), Need.READ),
    Page("count", _("Count a round"), _("count round today"), Need.COUNT),
    Page("skip", _("No round this week"), _("skip holiday no round week off"), Need.RECORD),
    Page("work", _("Work done"), _("work clean out spray bait done note"), Need.RECORD),
    Page("planned_works", _("Planned work"), _("plan work due again reminder wasps programme"), Need.RECORD),
    Page("worth", _("What it costs, what it may save"), _("cost money worth save"), Need.READ),
    Page("visits", _("Visits"), _("visit call plan planned adviser"), Need.READ),
    Page("call_notes", _("Notes on calls"), _("note call adviser next step promised"), Need.READ),
    Page("sent_digests", _("Mails of the farm"), _("mail sent letter digest"), Need.MANAGE),
    Page("agreement", _("Data agreement"), _("data agreement terms sign paper"), Need.MANAGE),
    Page("consents", _("Who may see what"), _("consent adviser region see access who privacy withdraw"), Need.OWN),
    Page("keys", _("Keys for programs"), _("key token api program"), Need.OWN),
    Page("webhooks", _("Webhooks"), _("webhook program told at once"), Need.OWN),
    Page("log", _("Who came in"), _("log who came in sign history"), Need.OWN),
)
OF_A_GROUP = (
    Page("rules", _("Rules"), _("rule matter alert opens numbers")),
    Page("visit_rules", _("Rules for visits"), _("visit rules boots")),
    Page("terms", _("Terms"), _("terms licence sells products contact")),
)
OF_A_COORDINATOR = (
    Page("group", _("The group's action levels"), _("action level group")),
    Page("regions_compared", _("Regions side by side"), _("regions compare side rounds came")),
    Page("running", _("Running"), _("running check late mails failed")),
    Page("advisers", _("Advisers"), _("adviser leave left successor")),
    Page("guests", _("Guests"), _("guest invite reports")),
)
OF_A_PERSON = (
    Page("your_mails", _("Your mails"), _("mail email how often stop unsubscribe address")),
    Page("feeds", _("Calendar"), _("calendar feed ical dates rounds due")),
    Page("text_messages", _("Text messages"), _("text message sms telephone number")),
)


def telling(words: Sequence[str]) -> list[str]:
    """The words of a question that say something."""
    small = set(folded(str(SMALL_WORDS)).split())
    return [word for word in words if word not in small]


def fitting(pages: Sequence[Page], words: Sequence[str]) -> list[Page]:
    """Those pages that most of the words lead to, and at least one; in their own order."""
    counts = [sum(_leads_to(word, page) for word in words) for page in pages]
    most = max(counts, default=0)
    return [page for page, count in zip(pages, counts, strict=True) if most and count == most]


def _leads_to(word: str, page: Page) -> bool:
    """Whether a page has a word with this beginning, or the other way round: levels leads to level."""
    known = folded(f"{page.title} {page.words}").replace(",", " ").split()
    return len(word) > 1 and any(one.startswith(word) or (len(one) > 3 and word.startswith(one)) for one in known)
