"""The methods: how each is counted, what its level compares, and where that comes from."""

from django.utils.translation import gettext as _

from alerts.wording.results import heading
from server.season_report.blocks import Block, Points, Section, Subhead, Words
from server.season_report.ground import Ground


def section(ground: Ground) -> Section:
    blocks: list[Block] = []
    for method in ground.methods:
        blocks += [Subhead(heading(method)), *(Words(each) for each in _how(method))]
    blocks += [Subhead(_("For all of them")), Points(_for_all()), Subhead(_("Sources")), Points(_sources())]
    return Section("methods", _("The methods"), blocks)


def _how(method: str) -> list[str]:
    return {
        "card": [
            _("A plain white card of 3 by 5 inches hangs for about a week where flies rest, out of animals' reach and "
              "out of the wind, number and date on its back. Counted are the specks that flies leave on it; dust, "
              "splashes and bird droppings are not. A count of more or fewer days is set to seven days."),
            _("Usual action level: more than 100 specks a card in seven days (common practice, printed in extension "
              "guides)."),
        ],
        "trap": [
            _("A jug trap with an attractant hangs for about a week in the open, out of reach of animals and children. "
              "Counted are the flies in it; a full trap may be measured by the cup, about 250 flies each (common "
              "practice), and is then marked as an estimate. Where it holds an insecticide bait, its label decides."),
            _("Usual action level: more than 250 flies a trap in seven days (common practice, printed in extension "
              "guides)."),
        ],
        "leg": [
            _("Stable flies on all four legs of ten to fifteen standing animals are counted, from the feed lane or in "
              "headlocks, at the same part of the day. Not in rain or strong wind; below 15 °C stable flies stop "
              "feeding. A count on animals that were sprayed that week is kept, marked, and never called a fall."),
            _("Usual action level: a mean of at least 10 flies an animal (common practice, printed in extension "
              "guides)."),
        ],
    }[method]  # fmt: skip


def _for_all() -> list[str]:
    return [
        _("A week's mean is the mean over the places counted, each set to seven days. A place without a count is left "
          "out: missing is never zero."),
        _("A reading belongs to the week that holds the middle day of its time up; a leg count to its day."),
        _("Each building with its own cards, traps or leg counts is compared with the level, and the farm as a whole."),
        _("Under 3 or over 14 days up, a count is kept and marked. One that came in more than 14 days late is marked "
          "and opens no matter about the past."),
        _("What was stored is never overwritten: a correction is a later record with its reason."),
    ]  # fmt: skip


def _sources() -> list[str]:
    """By publication, as author, year, title of the journal; never a text of theirs."""
    return [
        _("Action levels, five devices in each housing unit: common practice, printed in extension guides."),
        _("Cards in shaded resting places, traps in the open; raw counts of farms not to be compared: Gerry et al. "
          "2011, Journal of Economic Entomology 104(3)."),
        _("Counts measure activity, not density: Gerry 2020, Journal of Economic Entomology 113(6)."),
        _("Stable flies stop feeding below 15 °C: a review, Animals 2023, 13(24), 3847."),
    ]  # fmt: skip
