"""What this floor refuses with: stable codes, full sentences.

Faults of single values travel in `errors`, each with a pointer and a code of its own (see monitoring.rules).
"""

from django.utils.translation import gettext_lazy as _

from farms.errors import Conflict, Invalid, TooLarge


class ReadingRefused(Invalid):
    """One or more values of a round or a correction break a rule; `errors` names each of them."""

    code = "reading_refused"
    message = _("Nothing was stored, because some of it can't be right. Correct what is named below and send it again.")


class ReadingDiffers(Invalid):
    """A reading's id is known, with other values: nothing is overwritten."""

    code = "reading_differs"
    message = _(
        "{label} is already stored under this id and says something else. Nothing was stored. Send the new value as a "
        "correction, with a reason."
    )


class RoundDiffers(Invalid):
    """A round's, a placement's or a note's id is known, with other values."""

    code = "round_differs"
    message = _(
        "What was sent under this id is already stored and says something else: {stored}. Nothing was stored. "
        "Use a new id for what is new."
    )


class AlreadyRead(Conflict):
    """A second person's reading of a card or trap that is already taken down. `details["reading"]` is the first one."""

    code = "already_read"
    message = _(
        "{label} was already taken down on {taken_on}, and what was counted then is stored. Nothing was stored now. "
        "Send yours as a correction of it, or drop it."
    )


class AlreadyCorrected(Conflict):
    """Only the latest reading can be corrected. `details["by"]` is the id of the one that corrected this one."""

    code = "already_corrected"
    message = _("This reading was already corrected. Correct the latest one, which replaced it.")


class AlreadyWithdrawn(Conflict):
    code = "already_withdrawn"
    message = _("This reading was withdrawn and says nothing any more. Send what was counted as a new reading.")


class SkipRefused(Invalid):
    code = "skip_refused"
    message = _("The round wasn't skipped. Correct what is named below and send it again.")


class StationRefused(Invalid):
    code = "station_refused"
    message = _("The station wasn't stored. Correct what is named below and send it again.")


class StationNumberTaken(Conflict):
    code = "station_number_taken"
    message = _("This farm already has a {label}. Choose another number.")


class SitedTwice(Conflict):
    code = "sited_twice"
    message = _("How {label} stands from {since} on is already noted. Give another day.")


class WorkRefused(Invalid):
    code = "work_refused"
    message = _("The work wasn't noted. Correct what is named below and send it again.")


class AlreadyNoted(Conflict):
    """The same was noted today by one tap: a second tap adds nothing. `details["work"]` is the id of what stands."""

    code = "already_noted"
    message = _("This was already noted today, by {who}. It stands once.")


class AlreadyTakenBack(Conflict):
    code = "already_taken_back"
    message = _("This work was already taken back. It stays on record, and counts nowhere.")


class PlannedWorkRefused(Invalid):
    code = "planned_work_refused"
    message = _("Nothing was planned. Correct what is named below and send it again.")


class PlannedStepRefused(Invalid):
    code = "planned_step_refused"
    message = _("The plan wasn't changed. Correct what is named below and send it again.")


class PlannedDayDone(Conflict):
    """Somebody was quicker. `details` has the id of what stands for the day: "work", or "application"."""

    code = "planned_day_done"
    message = _("What was planned for {day} is already noted as done on {done_on}, by {who}. It stands once.")


class AlreadyLeftOut(Conflict):
    code = "already_left_out"
    message = _("This day is already left out. If the work is done after all, note it: that holds.")


class PlanEnded(Conflict):
    code = "plan_ended"
    message = _("This plan is ended from {day} on. Plan the work anew if it is to go on.")


class PhotoRefused(Invalid):
    code = "photo_refused"
    message = _("The photo wasn't stored. Correct what is named below and send it again.")


class ReentryRefused(Invalid):
    code = "reentry_refused"
    message = _("The kept-out time wasn't stored. Correct what is named below and send it again.")


class AlreadyReplaced(Conflict):
    """Only the newest kept-out time can be mended."""

    code = "already_replaced"
    message = _("This kept-out time was already changed. Change the one that replaced it.")


class LabelRefused(Invalid):
    code = "label_refused"
    message = _("The product wasn't listed. Correct what is named below and send it again.")


class ProductReplaced(Conflict):
    """Only the newest row of a product can be changed."""

    code = "product_replaced"
    message = _("This product was already changed or taken off the list. Load the list again.")


class ApplicationRefused(Invalid):
    code = "application_refused"
    message = _("The application wasn't noted. Correct what is named below and send it again.")


class ApplicationReplaced(Conflict):
    """Only the newest record can be mended."""

    code = "application_replaced"
    message = _("This record was already changed. Change the one that replaced it.")


class NothingToCheck(Conflict):
    code = "nothing_to_check"
    message = _("This record was written by the farm itself. Only one that a hired sprayer filled in is confirmed.")


class AlreadyChecked(Conflict):
    code = "already_checked"
    message = _("Somebody of the farm already said whether this record is so. Load the page again.")


class AskedFirst(Conflict):
    """A spray is planned of which something is to be thought first; `details["warnings"]` are their codes."""

    code = "asked_first"
    message = _("Nothing was planned yet. {questions} If that was thought of, say so and send it again.")


class PlannedDayApplied(Conflict):
    code = "planned_day_applied"
    message = _("An application is already on record for this day of the plan. Note this one without naming the plan.")


class SprayerLinkSpent(Conflict):
    code = "sprayer_link_spent"
    message = _("This link was used already, was taken back or has ended. Ask the farm for a new one.")


class TooManySprayerLinks(Conflict):
    code = "too_many_sprayer_links"
    message = _("{most} links already wait to be used. Take one of them back first.")


class OrganicRefused(Invalid):
    code = "organic_refused"
    message = _("This wasn't kept. Correct what is named below and send it again.")


class WalkRefused(Invalid):
    code = "walk_refused"
    message = _("The walk wasn't stored. Correct what is named below and send it again.")


class WalkDiffers(Conflict):
    """A walk's or a finding's id is known, with other values: nothing is overwritten."""

    code = "walk_differs"
    message = _(
        "Another walk is already stored under this id. Nothing was stored. Use new ids for what is new, and a "
        "correction for what is wrong."
    )


class FindingRefused(Invalid):
    code = "finding_refused"
    message = _("This wasn't stored. Correct what is named below and send it again.")


class NothingToDo(Conflict):
    """The finding takes no such step: nothing was found there, or it is gone."""

    code = "nothing_to_do"
    message = _(
        "Nothing is left to be done there. Where flies hatch there again, note that it is still there, or walk anew."
    )


class ComplaintRefused(Invalid):
    code = "complaint_refused"
    message = _("The complaint wasn't stored. Correct what is named below and send it again.")


class AlreadyMended(Conflict):
    """Only the newest version can be mended."""

    code = "already_mended"
    message = _("This was already changed. Change the one that replaced it.")


class CardsKeptRefused(Invalid):
    code = "cards_kept_refused"
    message = _("This wasn't kept. Correct what is named below and send it again.")


class TemperatureRefused(Invalid):
    code = "temperature_refused"
    message = _("No temperature was stored. Correct what is named below and send all of them again.")


class TooManyDays(TooLarge):
    code = "too_many_days"
    message = _("These are more than {days} days. Split them, for example by year, and send the parts.")


class TableRefused(Invalid):
    """Cells of a file or of a bulk request are wrong; `errors` names at most a hundred, `details["more"]` counts on."""

    code = "table_refused"
    message = _(
        "Nothing was stored: all or nothing was asked for, and {cells} of the values can't be right. Correct what is "
        "named below and send all of it again."
    )


class FileRefused(Invalid):
    """The file as a whole can't be read as a table of readings."""

    code = "file_refused"


class NotUtf8(FileRefused):
    code = "not_utf8"
    message = _(
        "The file isn't UTF-8 text: byte {byte} (line {line}) doesn't fit. Save it again as \"CSV UTF-8\" from the "
        "spreadsheet program, and send that file."
    )


class HoldsNul(FileRefused):
    code = "holds_nul"
    message = _(
        'The file isn\'t plain text: line {line} holds a NUL character. Save it again as "CSV UTF-8" from the '
        "spreadsheet program, and send that file."
    )


class NotATable(FileRefused):
    code = "not_a_table"
    message = _(
        "The file can't be read as a table: perhaps a quotation mark is opened and never closed. Save it again as "
        '"CSV UTF-8" from the spreadsheet program, and send that file.'
    )


class EmptyFile(FileRefused):
    code = "empty_file"
    message = _("The file holds no readings. It needs a first line with the names of the columns, and a line for each.")


class ColumnsMissing(FileRefused):
    code = "columns_missing"
    message = _("The first line of the file doesn't name {columns}. Add what is missing; the order doesn't matter.")


class ColumnsUnclear(FileRefused):
    code = "columns_unclear"
    message = _("Two columns of the file both mean {column}: {headers}. Delete one of them.")


class ColumnUnknown(FileRefused):
    code = "column_unknown"
    message = _("Nothing here is called {headers}. Delete the column, or name it as one of these: {known}.")


class DatesUnclear(FileRefused):
    code = "dates_unclear"
    message = _(
        "The dates in {column} could be read in two ways: is {example} in {first} or in {second}? Say whether the day "
        "or the month comes first, or write dates as 2026-06-30."
    )


class NotThisKind(FileRefused):
    code = "not_this_kind"
    message = _(
        "This is no spreadsheet that can be read here. Save it as .xlsx or as CSV from the spreadsheet program, and "
        "choose that file."
    )


class ChoiceMissing(FileRefused):
    code = "choice_missing"
    message = _("Say which column holds {what}.")


class UnpacksTooMuch(FileRefused):
    code = "unpacks_too_much"
    message = _(
        "This workbook unpacks to more than {megabytes} MB. Copy the sheet with the counts into a new workbook, and "
        "choose that one."
    )


class TooManyColumns(FileRefused):
    code = "too_many_columns"
    message = _("The first line of the file names more than {most} columns. Keep those that are of readings.")


class ImportFailed(Conflict):
    """The service itself could not go on with a long import; what was stored of it stays."""

    code = "import_failed"
    message = _(
        "This couldn't be finished, and the fault is ours. Send it again: what is stored by now isn't stored twice."
    )


class FileTooLarge(TooLarge):
    code = "file_too_large"
    message = _("The file is larger than {megabytes} MB. Split it, for example by month, and send the parts.")


class TooManyRows(TooLarge):
    code = "too_many_rows"
    message = _("This is more than {rows} readings. Split it, for example by month, and send the parts.")
