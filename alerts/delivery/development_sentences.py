"""What a digest says of the time from egg to fly: one line, and only where temperatures are known."""

from alerts.delivery.letter import Paragraph, paragraph
from alerts.selectors.farm_weeks import FarmWeek
from alerts.wording.development import heat_sentence, leaving_sentence, missed_sentence


def development_paragraph(told: FarmWeek) -> Paragraph | None:
    """At this week's temperatures maggots leave the bedding after 4 to 9 days and are flies after 7 to 18 days."""
    known = told.development
    if known is None or not known.is_known:
        return None
    wanted = kind_told(told)
    one = next(each for each in known.kinds if each.kind == wanted)
    leaving = leaving_sentence(one, measured=known.is_measured, name_them=wanted != "house_fly")
    return paragraph(leaving, missed_sentence(), heat_sentence(one)) if leaving else None


def kind_told(told: FarmWeek) -> str:
    """Whose maggots a farm is told of: stable flies' where only legs are counted, else house flies'."""
    return "stable_fly" if set(told.farm_rows) == {"leg"} else "house_fly"
