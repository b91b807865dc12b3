"""Which kind of record each table of a farm holds. tests/server/erasing/test_tables.py holds it complete.

By the kind it is decided how long a record is kept (server/erasing/retention.py) and whether it passes to whoever
buys the farm.
"""

from enum import StrEnum


class Kind(StrEnum):
    """What a table's rows are to the people of the farm."""

    COUNTS = "counts"  # places, rounds, counts, work, results and matters
    PLAN = "plan"
    NOTES = "notes"  # free words
    PHOTOS = "photos"  # pictures that were taken on rounds
    WALKS = "walks"  # words about what was found, apart from it
    COMPLAINTS = "complaints"  # what was said, and what was answered
    APPLICATIONS = "applications"
    APPLICATORS = "applicators"  # names on applications
    CHAIN = "chain"  # what makes the records hold up
    AGREED = "agreed"  # agreements, consents, offers, closures, visits
    PEOPLE = "people"  # who counts, who may come in, by which key
    LOG = "log"  # who came in
    MAILS = "mails"
    PASSING = "passing"  # answers kept for a repeat, files on their way


KINDS: dict[Kind, str] = {
    Kind.COUNTS: "farms_facility farms_season monitoring_station monitoring_siting monitoring_cardskept "
    "monitoring_placement "
    "monitoring_round monitoring_reading monitoring_skip monitoring_weeklysummary monitoring_contribution "
    "monitoring_walk monitoring_finding monitoring_findingstep monitoring_findingphoto "
    "monitoring_work monitoring_worktakenback monitoring_plannedwork monitoring_plannedstep monitoring_photo "
    "monitoring_farmtemperature alerts_farmlevel alerts_assessment alerts_listedrise alerts_checkfailure alerts_alert "
    "alerts_alertevent alerts_alertwork alerts_told",
    Kind.PLAN: "monitoring_plan monitoring_planpicture",
    Kind.NOTES: "monitoring_note monitoring_workwords alerts_alertnote alerts_callnote",
    Kind.PHOTOS: "monitoring_photopicture monitoring_findingpicture",
    Kind.WALKS: "monitoring_findingwords monitoring_findingstepwords",
    Kind.COMPLAINTS: "monitoring_complaint monitoring_complaintwords monitoring_complaintanswer "
    "monitoring_complaintanswerwords",
    Kind.APPLICATIONS: "monitoring_application monitoring_applicationcheck monitoring_organicmark "
    "monitoring_certifieranswer monitoring_reentry",
    Kind.APPLICATORS: "monitoring_applicationpeople",
    Kind.CHAIN: "farms_ledgerhead farms_ledgerentry farms_headleaf farms_erasedrow",
    Kind.AGREED: "farms_consent farms_acceptance farms_signedpaper farms_adviseroffer farms_openpromise "
    "farms_farmclosure farms_plannedvisit farms_lastfarmvisited farms_erasurerequest alerts_mailday",
    Kind.PEOPLE: "farms_membership farms_person farms_invitation farms_apitoken farms_phonecode alerts_webhook "
    "alerts_webhooksecret alerts_digestchoice monitoring_sprayerlink",
    Kind.LOG: "farms_logevent",
    Kind.MAILS: "alerts_digest",
    Kind.PASSING: "farms_farmanswer alerts_webhookdelivery monitoring_import monitoring_importcontent "
    "monitoring_importpart monitoring_owntable monitoring_owntablereading",
}


def tables_of(kind: Kind) -> frozenset[str]:
    """The tables that hold this kind of record."""
    return frozenset(KINDS[kind].split())


def kind_of(table: str) -> Kind:
    """What a table holds. Raises LookupError for one that nobody thought about."""
    for kind, tables in KINDS.items():
        if table in tables.split():
            return kind
    raise LookupError(f"Say in server/erasing/kinds.py which kind of record {table} holds.")
