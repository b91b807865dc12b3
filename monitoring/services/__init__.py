"""What is written on this floor: one file a noun.

The caller has already come through `farms.access` and opened the transaction in which row security knows for whom it
acts. Every function takes `now` from its entry point.
"""

from monitoring.rules.table import table_of_rows
from monitoring.services.application import Applied, MendedApplication, Writer, check_application, record_application
from monitoring.services.cards_kept import note_cards_kept
from monitoring.services.complaint import AnswerTyped, ComplaintTyped, Why, answer_complaint, record_complaint
from monitoring.services.correction import correct_reading
from monitoring.services.finding import StepMended, StepSent, record_step
from monitoring.services.finding_photo import FindingPhotoSent, add_finding_photo, erase_finding_photo
from monitoring.services.imports import (
    ImportLost,
    ImportSent,
    Waiting,
    claim_import,
    end_import,
    give_back,
    keep_import,
    note_part,
    note_rows,
    request_import,
    ring_due,
    shut_out,
)
from monitoring.services.organic import CertifierTyped, mark_organic, note_certifier_answer
from monitoring.services.own_table import forget_own_table, keep_own_table, keep_own_table_reading
from monitoring.services.photo import PhotoSent, add_photo, erase_photo
from monitoring.services.plan import Drawn, draw_plan, lay_picture
from monitoring.services.planned_work import WorkPlanned, end_plan, leave_out, plan_work
from monitoring.services.product import ask_for_certificate, label_of, list_product, take_product_off
from monitoring.services.reentry import Mending, ReentryTyped, record_reentry
from monitoring.services.round import record_round
from monitoring.services.sent import HungSent, NoteSent, ReadingSent, RoundSent
from monitoring.services.skip import skip_round
from monitoring.services.sprayer_link import make_sprayer_link, record_by_link, withdraw_sprayer_link
from monitoring.services.station import NewStation, SitingData, add_station, add_stations, resite_station
from monitoring.services.summary import refresh_summaries
from monitoring.services.table import OUTCOMES, ImportPlan, ImportResult, judged_table, record_part, record_table
from monitoring.services.temperature import record_farm_temperatures, record_temperatures
from monitoring.services.walk import FindingMended, WalkSent, correct_finding, record_walk, said_of
from monitoring.services.work import PlannedFor, WorkDone, as_planned, record_again, record_work, take_back_work

__all__ = [
    "OUTCOMES",
    "AnswerTyped",
    "Applied",
    "CertifierTyped",
    "ComplaintTyped",
    "Drawn",
    "FindingMended",
    "FindingPhotoSent",
    "HungSent",
    "ImportLost",
    "ImportPlan",
    "ImportResult",
    "ImportSent",
    "MendedApplication",
    "Mending",
    "NewStation",
    "NoteSent",
    "PhotoSent",
    "PlannedFor",
    "ReadingSent",
    "ReentryTyped",
    "RoundSent",
    "SitingData",
    "StepMended",
    "StepSent",
    "Waiting",
    "WalkSent",
    "Why",
    "WorkDone",
    "WorkPlanned",
    "Writer",
    "add_finding_photo",
    "add_photo",
    "add_station",
    "add_stations",
    "answer_complaint",
    "as_planned",
    "ask_for_certificate",
    "check_application",
    "claim_import",
    "correct_finding",
    "correct_reading",
    "draw_plan",
    "end_import",
    "end_plan",
    "erase_finding_photo",
    "erase_photo",
    "forget_own_table",
    "give_back",
    "judged_table",
    "keep_import",
    "keep_own_table",
    "keep_own_table_reading",
    "label_of",
    "lay_picture",
    "leave_out",
    "list_product",
    "make_sprayer_link",
    "mark_organic",
    "note_cards_kept",
    "note_certifier_answer",
    "note_part",
    "note_rows",
    "plan_work",
    "record_again",
    "record_application",
    "record_by_link",
    "record_complaint",
    "record_farm_temperatures",
    "record_part",
    "record_reentry",
    "record_round",
    "record_step",
    "record_table",
    "record_temperatures",
    "record_walk",
    "record_work",
    "refresh_summaries",
    "request_import",
    "resite_station",
    "ring_due",
    "said_of",
    "shut_out",
    "skip_round",
    "table_of_rows",
    "take_back_work",
    "take_product_off",
    "withdraw_sprayer_link",
]
