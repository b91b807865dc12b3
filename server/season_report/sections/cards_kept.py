"""Where the dated cards are kept."""

from django.utils.translation import gettext as _

from server.season_report.blocks import Block, Column, Section, Table, Words
from server.season_report.ground import Ground
from server.season_report.told import first_up, role


def section(ground: Ground) -> Section:
    columns = [Column(_("From"), 1), Column(_("Where they are kept"), 4), Column(_("Noted by"), 1.2)]
    rows = [(row.from_on, row.words, first_up(role(row.actor_kind))) for row in reversed(ground.cards_kept)]
    blocks: list[Block] = [
        Words(_("The counted cards bear their number and date. Kept dry, they are the older proof of these counts.")),
        Table(_("Dated cards"), columns, rows, _("The farm has not noted where its cards are kept.")),
    ]
    return Section("cards_kept", _("Where the dated cards are kept"), blocks)
