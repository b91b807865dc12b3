"""The last page: what is attached, what it shows and what not, and how to check it."""

from django.utils.translation import gettext as _

from server.evidence.farm import newest_head_of
from server.season_report.blocks import Block, Facts, Points, Section, Subhead, Value, Words
from server.season_report.ground import Ground


def section(ground: Ground) -> Section:
    blocks: list[Block] = [
        Words(
            _("Nothing that was counted or noted is ever overwritten. Each round, correction and note is an entry that "
              "holds a fingerprint of the one before it, so a later change would show. Once a day the last "
              "fingerprints are signed and kept outside the service as well.")
        ),
    ]  # fmt: skip
    covering = newest_head_of(ground.farm)
    if covering is None:
        blocks.append(Words(_("No day was signed yet that covers this farm.")))
    else:
        signed: list[tuple[str, Value]] = [
            (_("Signed last"), ground.on_the_clock(covering.head.made_at)),
            (_("Entries covered"), covering.leaf.number),
            (_("Time stamp by another authority"), _("yes") if covering.head.stamped_at else _("no")),
            (_("Fingerprint of the public key"), covering.signed["key"]),
        ]
        blocks.append(Facts(signed))
    blocks += _how_to_check(ground)
    return Section("evidence", _("What this record proves, and how to check it"), blocks, new_page=True)


def _how_to_check(ground: Ground) -> list[Block]:
    shows = [
        _("It shows that the counts, cards, work and photos on record stood so on the days signed, and that what stood "
          "then wasn't changed since."),
        _("It doesn't show that a count is true, nor who counted, nor what was never recorded. It's no legal promise."),
        _("Notes, names, plans of work and the records of sprays are in it by their fingerprint alone."),
        _("The dated cards are the older proof: see where they are kept."),
    ]  # fmt: skip
    if not ground.wanted.evidence:
        return [Subhead(_("What it shows, and what not")), Points(shows), Words(_("The evidence file isn't attached."))]
    return [
        Subhead(_("What it shows, and what not")),
        Points(shows),
        Subhead(_("How to check it")),
        Words(
            _("The PDF of this report carries the farm's evidence as an attachment, flyround-evidence.json. Whoever "
              "has the PDF and the service's public key checks it on their own computer, without us or a network:")
        ),
        Words("python -m server.client verify report.pdf --key signing-keys.json", "code"),
        Words(
            _("The public key comes from the service or, better, from whoever was given it earlier. The attachment "
              "holds the farm's whole chain, also of other years: think before you hand it on."), "soft"
        ),
    ]  # fmt: skip
