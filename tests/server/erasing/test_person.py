"""A person is erased: the shell says nothing, opens nothing, and every chain holds."""

from datetime import timedelta

import pytest
from django.contrib.sessions.models import Session
from django.db import ProgrammingError, connection
from django.utils import timezone

from alerts.models import AlertNote, CallNote, DigestChoice, TextNumber
from farms.models import (
    AccountErasure,
    ApiToken,
    ErasedRow,
    FeedAddress,
    LedgerEntry,
    LogEvent,
    Membership,
    Person,
    User,
)
from farms.services import (
    ErasureAskedAlready,
    ErasureDone,
    LastOwnerErased,
    StillOfAGroup,
    add_person,
    ask_account_erasure,
    ask_person_erasure,
    make_feed,
    make_token,
    take_account_erasure_back,
    take_erasure_back,
)
from monitoring.models import (
    ApplicationPeople,
    ComplaintAnswerWords,
    ComplaintWords,
    FindingStepWords,
    FindingWords,
    Note,
    Round,
    WorkWords,
)
from server.evidence.whole import outside_in, verify_all
from tests.cast import NOW, acting, as_factory, as_role
from tests.server.erasing.conftest import ASKED, Signed, erase
from tests.server.erasing.test_farm import everything

pytestmark = pytest.mark.django_db
DUE = ASKED + timedelta(days=7)


def ask(user: User, *, words: bool = False) -> AccountErasure:
    with acting(user):
        return ask_account_erasure(user=user, words=words, now=ASKED)


def faults(signed: Signed) -> list:
    with as_factory():
        return verify_all(outside_in(signed.heads)).faults


def co_owned(signed: Signed, carla: User) -> None:
    """Carla owns Northfield, too, so that Anna may go."""
    with as_factory():
        Membership.objects.create(farm=signed.farm, user=carla, role="owner", began_at=NOW)


def test_an_account_becomes_a_shell_that_opens_nothing(signed: Signed, anna, carla, browser):
    co_owned(signed, carla)
    with acting(anna):
        make_feed(user=anna, kind="calendar", now=timezone.now())
        ends = timezone.now() + timedelta(days=9)
        make_token(farm=signed.farm, name="Herd", scope="read", by=anna, expires_at=ends, now=timezone.now())
        add_person(farm=signed.farm, name="Anna Invented", initials="AI", user=anna, now=NOW)
    with as_factory():
        phone = ApiToken.objects.create(
            farm=signed.farm, name="Barn phone", scope="count", key_hash=bytes(32), made_by=anna, made_at=NOW,
            expires_at=ends,
        )  # fmt: skip
        TextNumber.objects.create(user=anna, number="+12025550143", asked_at=NOW)
        DigestChoice.objects.create(farm=signed.farm, recipient=anna, how_often="none", chosen_at=NOW)
    client = browser(anna)
    assert client.get("/farms/").status_code == 200
    ask(anna)
    assert erase(DUE - timedelta(seconds=1)) == []
    (told,) = erase(DUE)
    assert told.rows["own"] > 6 and told.words == 0
    assert client.get("/farms/").status_code == 302
    with as_factory():
        shell = User.objects.get(id=anna.id)
        assert (shell.name, shell.email) == ("erased person", f"{anna.id}@erased.invalid")
        assert not shell.is_active and not shell.has_usable_password()
        assert (
            not FeedAddress.objects.exists() and not TextNumber.objects.exists() and not DigestChoice.objects.exists()
        )
        assert not [each for each in Session.objects.all() if each.get_decoded().get("_auth_user_id") == str(anna.id)]
        live = ApiToken.objects.filter(farm=signed.farm, revoked_at__isnull=True)
        assert set(live.values_list("id", flat=True)) == {phone.id}, "a farm phone is the farm's"
        assert Membership.objects.get(farm=signed.farm, user=anna).ended_at == DUE
    left = [line for line in everything().splitlines() if "anna@example.org" in line or "Anna Invented" in line]
    assert left == []
    assert faults(signed) == []
    assert erase(DUE) == [], "it is done once"


def test_the_log_tells_that_somebody_was_erased_and_not_whom(signed: Signed, ben):
    ask(ben)
    erase(DUE)
    with as_factory():
        line = LogEvent.objects.get(kind="person_erased")
    assert (line.farm_id, line.actor_kind, line.actor_id, line.about) == (signed.farm.id, "service", None, "")


def test_words_go_where_that_was_asked_and_the_chain_holds(signed: Signed, anna, carla):
    co_owned(signed, carla)
    with as_factory():
        # Who sent the scene's rounds; the actor is no part of an entry's hash.
        LedgerEntry.objects.filter(farm=signed.farm, actor_id=None).update(actor_id=anna.id)
        others = CallNote.objects.count()
        applicators = ApplicationPeople.objects.count()
        assert Note.objects.filter(farm=signed.farm).exists() and AlertNote.objects.exists() and others
    ask(anna, words=True)
    (told,) = erase(DUE)
    with as_factory():
        assert (
            not Note.objects.filter(farm=signed.farm).exists() and Note.objects.filter(farm=signed.neighbour).exists()
        )
        assert not AlertNote.objects.filter(farm=signed.farm).exists() and not WorkWords.objects.exists()
        assert CallNote.objects.count() == others, "they are the adviser's"
        assert ApplicationPeople.objects.count() == applicators, "kept for two years at least"
        apart = (FindingWords, FindingStepWords, ComplaintWords, ComplaintAnswerWords)
        assert not any(model.objects.filter(farm=signed.farm).exists() for model in apart)
        # Of what lies apart the hash stays on its record, of all else as an erased row.
        assert ErasedRow.objects.filter(farm=signed.farm).count() == told.words - len(apart) > 5
    assert faults(signed) == []


def test_names_on_old_applications_go_with_the_words(signed: Signed, anna, carla):
    co_owned(signed, carla)
    long_after = ASKED + timedelta(days=800)
    with acting(anna):
        ask_account_erasure(user=anna, words=True, now=long_after)
    erase(long_after + timedelta(days=7))
    with as_factory():
        assert not ApplicationPeople.objects.filter(farm=signed.farm).exists()
    assert faults(signed) == []


def test_who_is_still_needed_is_told_so(signed: Signed, anna, dana, ben):
    with acting(anna), pytest.raises(LastOwnerErased, match="only owner of Northfield"):
        ask_account_erasure(user=anna, words=False, now=ASKED)
    with acting(dana), pytest.raises(StillOfAGroup, match="Valley Advisers"):
        ask_account_erasure(user=dana, words=False, now=ASKED)
    ask(ben)
    with acting(ben), pytest.raises(ErasureAskedAlready):
        ask_account_erasure(user=ben, words=True, now=ASKED)


def test_who_became_the_only_owner_meanwhile_waits(signed: Signed, anna, carla):
    co_owned(signed, carla)
    ask(anna)
    with as_factory():
        Membership.objects.filter(farm=signed.farm, user=carla).update(ended_at=ASKED)
    (told,) = erase(DUE)
    assert told.waits and not told.failed
    with as_factory():
        assert User.objects.get(id=anna.id).is_active and AccountErasure.objects.get().done_at is None


def test_an_account_taken_back_stays(signed: Signed, ben):
    ask(ben)
    with acting(ben):
        take_account_erasure_back(user=ben, now=DUE)
        with pytest.raises(ErasureDone):
            take_account_erasure_back(user=ben, now=DUE)
    assert erase(DUE) == []


def counter(signed: Signed, anna: User) -> Person:
    with acting(anna):
        person = add_person(farm=signed.farm, name="Pablo Invented", initials="PI", now=NOW)
    with as_factory():
        # Past the services: the scene's rounds name nobody, and the chain holds who counted by an id.
        Round.objects.filter(farm=signed.farm, notes__isnull=False).update(counted_by=person.id)
    return person


def test_somebody_who_counts_loses_the_name_and_keeps_the_counts(signed: Signed, anna, carla):
    with acting(anna):
        person = add_person(farm=signed.farm, name="Pablo Invented", initials="PI", now=NOW)
        asked = ask_person_erasure(person=person, words=False, by=anna, now=ASKED)
    (told,) = erase(DUE)
    assert told.request_id == asked.id
    with as_factory():
        left = Person.objects.get(id=person.id)
        assert (left.name, left.initials, left.ended_at) == ("erased person", "-", DUE)
        assert Note.objects.filter(farm=signed.farm).exists()
        kinds = LogEvent.objects.filter(farm=signed.farm, kind__startswith="person_").values_list("kind", flat=True)
        assert sorted(kinds) == ["person_erased", "person_to_erase"]
    assert "Pablo" not in everything() and faults(signed) == []


def test_the_notes_of_their_rounds_go_where_that_was_asked(signed: Signed, anna):
    person = counter(signed, anna)
    with acting(anna):
        ask_person_erasure(person=person, words=True, by=anna, now=ASKED)
    (told,) = erase(DUE)
    with as_factory():
        assert told.words == ErasedRow.objects.count() > 3
        assert not Note.objects.filter(farm=signed.farm).exists() and AlertNote.objects.exists()


def test_a_person_kept_after_all_stays(signed: Signed, anna):
    with acting(anna):
        person = add_person(farm=signed.farm, name="Pablo Invented", initials="PI", now=NOW)
        asked = ask_person_erasure(person=person, words=False, by=anna, now=ASKED)
        take_erasure_back(asked=asked, by=anna, now=DUE)
    assert erase(DUE) == []
    with as_factory():
        assert Person.objects.get(id=person.id).name == "Pablo Invented"


@pytest.mark.parametrize("role", ["app", "worker", "cohort", "region"])
def test_no_other_role_may(signed: Signed, role: str):
    for statement in ("SELECT * FROM erasures_due(now())", "DELETE FROM monitoring_reading"):
        with pytest.raises(ProgrammingError, match="permission denied"), as_role(role), connection.cursor() as cursor:
            cursor.execute(statement)
