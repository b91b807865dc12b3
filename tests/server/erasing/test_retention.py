"""What is over its time goes, each kind by its own; the chain holds, and a second time finds nothing."""

from collections import Counter
from datetime import UTC, datetime, timedelta

import pytest

from alerts.models import AlertNote, CallNote, Digest, MondayList
from farms.errors import Invalid
from farms.models import ErasedRow, GroupInvitation, GroupRetention, Invitation, LedgerEntry, LogEvent
from farms.models.retention import KeptKind
from farms.retention import KEPT, months_before, months_kept
from farms.services import set_retention
from monitoring.models import ApplicationPeople, Note, Photo, PhotoPicture, Reading, WorkWords
from server.erasing.retention import over_time, tidy
from server.evidence.whole import outside_in, verify_all
from tests.cast import NOW, as_factory, as_role
from tests.server.erasing.conftest import ASKED, Signed
from tests.server.erasing.test_farm import everything

pytestmark = pytest.mark.django_db


def swept(at: datetime) -> Counter[str]:
    with as_role("eraser"):
        return +tidy(now=at, using="default")


def after(months: int) -> datetime:
    """So many months after everything in the scene."""
    return ASKED + timedelta(days=31 * (months + 1))


def faults(signed: Signed) -> list:
    with as_factory():
        return verify_all(outside_in(signed.heads)).faults


def counted(*models) -> list[int]:
    with as_factory():
        return [model._default_manager.count() for model in models]


def test_within_its_time_nothing_goes(signed: Signed):
    before = counted(Note, CallNote, PhotoPicture, ApplicationPeople, LogEvent, Digest)
    swept(ASKED + timedelta(days=300))
    assert counted(Note, CallNote, PhotoPicture, ApplicationPeople, LogEvent, Digest) == before


def test_each_kind_goes_by_its_own_time_and_the_chain_holds(signed: Signed):
    rows, photos = counted(Reading)[0], counted(Photo)[0]
    told = swept(after(24))
    assert told["monitoring_photopicture"] == 1 and told["farms_logevent"] > 3 and "monitoring_note" not in told
    assert counted(PhotoPicture, LogEvent) == [0, 0] and counted(Note)[0] > 5
    assert faults(signed) == []
    told = swept(after(36))
    assert told["monitoring_note"] > 5 and told["monitoring_applicationpeople"] == 1
    assert counted(Note, AlertNote, CallNote, WorkWords, ApplicationPeople) == [0] * 5
    assert (counted(Reading)[0], counted(Photo)[0]) == (rows, photos), "counts are kept, and that there was a photo"
    with as_factory():
        assert ErasedRow.objects.count() == sum(
            told[table] for table in (
                "monitoring_note", "alerts_alertnote", "alerts_callnote", "monitoring_workwords",
                "monitoring_applicationpeople",
            )
        )  # fmt: skip
    assert faults(signed) == []
    assert swept(after(36)) == Counter(), "a second time finds nothing"


def test_a_group_keeps_longer_or_without_end(signed: Signed, group, erik):
    chosen = {KeptKind.NOTES: None, KeptKind.LOG: 60, KeptKind.APPLICATORS: 24}
    with as_factory():
        made = set_retention(group=group, months=chosen, by=erik, now=NOW)
        assert len(made) == 3 and set_retention(group=group, months=chosen, by=erik, now=NOW) == []
        assert months_kept(group.id)[KeptKind.NOTES] is None
    told = swept(after(48))
    assert "monitoring_note" not in told and "farms_logevent" not in told
    assert told["monitoring_applicationpeople"] == 1 and counted(LogEvent)[0] > 3


@pytest.mark.parametrize("kind", KeptKind)
def test_nothing_is_kept_shorter_than_its_least(group, erik, kind):
    for number in (KEPT[kind].least - 1, 601):
        with pytest.raises(Invalid) as refused:
            set_retention(group=group, months={kind: number}, by=erik, now=NOW)
        assert f"Choose {KEPT[kind].least} months or more" in refused.value.errors[0].detail
    assert GroupRetention.objects.count() == 0


def test_a_dry_run_erases_nothing(signed: Signed):
    before = everything()
    with as_role("eraser"):
        told = +over_time(now=after(36), using="default")
    assert everything() == before
    assert told == swept(after(36))


def test_mails_of_persons_and_spent_invitations(signed: Signed, dana, erik):
    whose = {"group": signed.farm.group, "recipient": dana, "queued_at": NOW, "next_try_at": NOW}
    invited = {"email": "x@example.org", "name": "X", "language": "en", "key_hash": bytes(32), "invited_by": erik}
    invited |= {"made_at": NOW, "sent_at": NOW, "expires_at": NOW + timedelta(days=14)}
    with as_factory():
        MondayList.objects.all().delete()
        MondayList.objects.create(**whose, occasion="2026-W01", state="sent")
        MondayList.objects.create(**whose, occasion="2026-W02", state="queued")
        GroupInvitation.objects.create(group=signed.farm.group, role="adviser", **invited)
        Invitation.objects.create(farm=signed.farm, role="recorder", **invited)
    told = swept(NOW + timedelta(days=60))
    assert "farms_invitation" not in told
    told = swept(after(24))
    assert told["alerts_mondaylist"] == told["farms_groupinvitation"] == told["farms_invitation"] == 1
    with as_factory():
        assert MondayList.objects.get().state == "queued", "what waits is not touched"


def test_what_was_written_a_moment_later_stays(signed: Signed):
    with as_factory():
        notes = Note.objects.filter(farm=signed.farm)
        entries = LedgerEntry.objects.filter(farm=signed.farm, number__in=notes.values("entry"))
        at = sorted(entries.values_list("made_at", flat=True))[1]
        earlier = set(entries.filter(made_at__lt=at).values_list("number", flat=True))
        kept = set(Note.objects.filter(farm=signed.farm).exclude(entry__in=earlier).values_list("id", flat=True))
    moment = datetime(at.year + 3, at.month, at.day, at.hour, at.minute, at.second, at.microsecond, UTC)
    assert months_before(moment, 36) == at and earlier and kept
    swept(moment)
    with as_factory():
        assert set(Note.objects.filter(farm=signed.farm).values_list("id", flat=True)) == kept
