"""What the board of a plan says while somebody draws on it: its script has no words of its own."""

from django.utils.translation import gettext as _


def board_words() -> dict[str, str]:
    """By the name that static/web/plan/*.js gives a sentence; what stands in braces, the script fills in."""
    return {**_of_stations(), **_of_outlines(), "undone": _("Undone.")}


def _of_stations() -> dict[str, str]:
    return {
        "moved": _(
            "{label}: {left} percent from the left, {top} percent from the top. Enter puts it down, Escape takes back."
        ),
        "put_down": _("{label} is put down, {left} percent from the left, {top} percent from the top."),
        "taken_back": _("{label} is back where it was."),
        "back_in_tray": _("{label} is not on the plan."),
        "off_the_plan": _("{label} is off the plan."),
    }


def _of_outlines() -> dict[str, str]:
    return {
        "pen": _("Pen for the corners"),
        "name_first": _("Choose the barn or lot first, or write what it is."),
        "pen_ready": _("Press on the sheet for each corner, or move the pen with the arrow keys and press Enter."),
        "pen_moved": _("Pen: {left} percent from the left, {top} percent from the top."),
        "corner_set": _("Corner {number}: {left} percent from the left, {top} percent from the top."),
        "corner_back": _("The last corner is taken back; {number} left."),
        "corners_few": _("An outline needs three corners or more."),
        "corners_full": _("These are 40 corners: enough for one outline. Close it."),
        "outlines_full": _("These are 60 outlines: enough for one plan. Take one away first."),
        "outline_made": _("{name} is drawn."),
        "outline_away": _("{name} is taken away."),
        "pen_away": _("Nothing was drawn."),
        "take_away": _("Take away: {name}"),
    }
