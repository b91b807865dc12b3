"""Kept organic or not, and every answer of the certifier."""

from django.utils.translation import gettext as _

from server.season_report.blocks import Block, Column, Section, Subhead, Table, Words
from server.season_report.ground import Ground
from server.season_report.told import first_up, role


def section(ground: Ground) -> Section | None:
    """None for a farm that was never marked organic and never asked a certifier."""
    if not ground.organic_marks and not ground.certifier_answers:
        return None
    marks = [Column(_("From"), 1), Column(_("The farm is"), 3), Column(_("Noted by"), 1)]
    answers = [
        Column(_("Product, as on the label"), 2), Column(_("Registration number"), 1.3), Column(_("Asked"), 1.1),
        Column(_("Answered"), 1.1), Column(_("Answer"), 1.3), Column(_("In the certifier's words"), 2),
    ]  # fmt: skip
    kept = [
        (
            row.from_on,
            first_up(_("kept organic") if row.is_organic else _("not kept organic")),
            first_up(role(row.actor_kind)),
        )
        for row in reversed(ground.organic_marks)
    ]
    said = [
        (row.product_name, row.registration_number, row.asked_on, row.answered_on, first_up(row.get_said_display()),
         row.words)
        for row in reversed(ground.certifier_answers)
    ]  # fmt: skip
    blocks: list[Block] = [
        Words(
            _("On a farm marked organic the service takes no record of an insecticide before the certifier's answer.")
        ),
        Table(_("Kept organic"), marks, kept, _("The farm isn't marked as organic.")),
        Subhead(_("The certifier's answers")),
        Table(_("Certifier"), answers, said, _("No answer is on record.")),
    ]
    return Section("organic", _("Kept organic"), blocks)
