"""The plan: where the numbered places are on the sheet."""

import base64
import re
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from monitoring.charts import LIGHT
from monitoring.charts.plan import PlanWords, Sheet, StationMark, plan_drawing
from monitoring.selectors import outlines_of, pictures_of, plan_of, spots_of
from server.season_report.blocks import Block, Picture, Section, Words
from server.season_report.ground import Ground

if TYPE_CHECKING:
    from monitoring.models import Plan

TYPES = {"jpeg": "image/jpeg", "png": "image/png"}
# The drawing is styled by classes on a page; here it brings its own, as paper has them.
STYLE = f"""<style>
.plan .sheet{{fill:#fff;stroke:{LIGHT.soft};stroke-width:1}}
.plan .outline{{fill:{LIGHT.paper};stroke:{LIGHT.soft};stroke-width:1.2}}
.plan .over-picture{{fill:#fff;fill-opacity:.3}}
.plan .outline-name{{fill:{LIGHT.soft};font-family:'Open Sans',sans-serif}}
.plan .plate{{fill:#fff;stroke:{LIGHT.ink};stroke-width:.8}}
.plan .number{{fill:{LIGHT.ink};font-family:'Open Sans',sans-serif}}
</style>"""


def section(ground: Ground) -> Section:
    """As the plan held on the last day of the report; without its picture unless that is wanted."""
    plan, spots = plan_of(ground.farm, ground.wanted.until), spots_of(ground.farm, ground.wanted.until)
    placed = [station for station in ground.stations if station.id in spots]
    blocks: list[Block] = []
    if not placed:
        blocks.append(Words(_("No place is on a plan. The table of places says in which building each is.")))
    else:
        marks = [StationMark(*spots[each.id], each.label, f"{each.label}, {each.facility.name}") for each in placed]
        words = PlanWords(_("Plan of {farm}").format(farm=ground.farm.name), _("Where each numbered place is."))
        drawing = plan_drawing(_sheet(ground, plan), marks, words)
        blocks.append(Picture(_styled(drawing), f"{words.title}. {words.description}", 0.92))
        missing = [each.label for each in ground.stations if each.id not in spots]
        if missing:
            blocks.append(Words(_("Not on the plan: {labels}.").format(labels=", ".join(missing)), "soft"))
    return Section("plan", _("The plan"), blocks)


def _sheet(ground: Ground, plan: "Plan | None") -> Sheet:
    if plan is None:
        return Sheet(1400, 1000)
    names = {each.id: each.name for each in ground.facilities.values()}
    outlines = [
        (each.name or (names.get(each.facility_id, "") if each.facility_id else ""), each.points)
        for each in outlines_of(plan)
    ]
    return Sheet(plan.width, plan.height, _picture(ground, plan), outlines)


def _picture(ground: Ground, plan: "Plan") -> str:
    """What lies under it, within the drawing itself."""
    wanted = plan.picture_id if ground.wanted.picture else None
    found = pictures_of(ground.farm).filter(id=wanted).first() if wanted else None
    if found is None:
        return ""
    return f"data:{TYPES[found.kind]};base64,{base64.b64encode(bytes(found.content)).decode()}"


def _styled(drawing: str) -> str:
    return re.sub("^<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', drawing).replace(">", f">{STYLE}", 1)
