"""The farm's own log: one line where something happens, with who did it, seen by nobody of another farm."""

from datetime import timedelta

import pytest
from django.db import ProgrammingError, connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from farms import services
from farms.access import actor_on
from farms.models import Consent, Farm, LogEvent, Membership, User
from farms.models.access import FarmRole
from farms.models.log import LogKind
from farms.selectors import log_of, names_in_log, tokens_of
from farms.tenancy.acting import act_for_nobody
from tests.cast import NOW, acting, acting_token, as_factory, make_farm

pytestmark = pytest.mark.django_db
TODAY = timezone.now()


def lines(farm: Farm, by: User) -> list[tuple[str, str, object, str]]:
    """Kind, actor and about of every line, oldest first, without what the scene itself noted."""
    with acting(by):
        found = reversed(log_of(farm))
        return [(each.kind, each.actor_kind, each.actor_id, each.about) for each in found][1:]


def test_the_scenes_consent_is_the_first_line(northfield: Farm, anna: User, dana: User):
    with acting(anna):
        (line,) = log_of(northfield)
    assert (line.kind, line.actor_kind, line.actor_id, line.about) == (
        "consent_given", "farm_staff", anna.id, f"adviser {dana.id}",
    )  # fmt: skip


def test_a_token_is_noted_when_it_is_made_and_once_when_it_ends(northfield: Farm, anna: User):
    ends = TODAY + timedelta(days=1)
    with acting(anna):
        token, _key = services.make_token(
            farm=northfield, name="Herd program", scope="read", by=anna, expires_at=ends, now=TODAY
        )
        for _ in range(2):
            services.revoke_token(token=token, by=anna, now=TODAY)
    assert lines(northfield, anna) == [
        ("token_made", "farm_staff", anna.id, "Herd program"), ("token_ended", "farm_staff", anna.id, "Herd program"),
    ]  # fmt: skip


def test_a_farm_phone_is_noted_when_it_joins_and_by_whom_it_is_ended(northfield: Farm, anna: User, dana: User):
    with acting(dana):
        code = services.make_phone_code(farm=northfield, by=dana, now=TODAY)[1]
    services.use_phone_code(code=code, name="Barn phone", expires_at=TODAY + timedelta(days=90), now=TODAY)
    act_for_nobody()
    with acting(dana):
        phone = tokens_of(northfield).get()
        services.revoke_token(token=phone, by=dana, now=TODAY)
    assert lines(northfield, anna) == [
        ("phone_joined", "phone", phone.id, "Barn phone"), ("token_ended", "adviser", dana.id, "Barn phone"),
    ]  # fmt: skip


def test_a_wrong_phone_code_notes_nothing(northfield: Farm, anna: User):
    with pytest.raises(services.PhoneCodeWrong):
        services.use_phone_code(code="0000 0000", name="Barn", expires_at=TODAY + timedelta(days=9), now=TODAY)
    assert lines(northfield, anna) == []


def test_consents_are_noted_with_whom_they_are_for_and_who_ended_them(northfield: Farm, anna: User, dana: User):
    with acting(anna):
        regional = services.give_consent(farm=northfield, kind="regional", by=anna, now=NOW)
        services.withdraw_consent(consent=regional, by=anna, now=NOW)
    with acting(dana):  # who gives the farm back may write nothing on it from then on, but this
        own = Consent.objects.get(adviser=dana)
        services.withdraw_consent(consent=own, by=dana, now=NOW)
    assert lines(northfield, anna) == [
        ("consent_given", "farm_staff", anna.id, "regional"),
        ("consent_withdrawn", "farm_staff", anna.id, "regional"),
        ("consent_withdrawn", "adviser", dana.id, f"adviser {dana.id}"),
    ]  # fmt: skip


def test_roles_are_noted_with_whose_they_are_and_who_gave_and_ended_them(northfield: Farm, anna: User, carla: User):
    with acting(anna):
        services.add_member(farm=northfield, user=carla, role="owner", by=anna, now=NOW)
    with acting(carla):
        own = Membership.objects.get(user=carla, farm=northfield)
        services.end_membership(membership=own, by=carla, now=NOW)
    assert lines(northfield, anna) == [
        ("member_added", "farm_staff", anna.id, f"owner {carla.id}"),
        ("member_ended", "farm_staff", carla.id, f"owner {carla.id}"),
    ]  # fmt: skip


def test_what_is_refused_notes_nothing(northfield: Farm, anna: User):
    with acting(anna):
        own = Membership.objects.get(user=anna)
        with pytest.raises(services.LastOwner):
            services.end_membership(membership=own, by=anna, now=NOW)
    assert lines(northfield, anna) == []


def test_a_key_that_only_reads_can_be_noted(northfield: Farm, anna: User):
    ends = TODAY + timedelta(days=1)
    with acting(anna):
        token, _key = services.make_token(
            farm=northfield, name="Herd", scope="read", by=anna, expires_at=ends, now=TODAY
        )
    with acting_token(token):
        actor = actor_on(token, northfield.id)
        services.note_in_log(farm=northfield, kind=LogKind.EXPORT, actor=actor, now=TODAY, about="readings.csv")
    assert lines(northfield, anna)[-1] == ("export", "program", token.id, "readings.csv")


def test_a_stranger_notes_and_reads_nothing(northfield: Farm, anna: User, carla: User):
    with acting(carla):
        assert list(log_of(northfield)) == []
        assert services.note_in_all_logs(user=carla, kind=LogKind.SIGN_IN, now=NOW) == 0
        with pytest.raises(ProgrammingError, match="row-level security"):
            services.note_in_log(farm=northfield, kind=LogKind.EXPORT, actor=actor_on(carla, northfield.id), now=NOW)


def test_an_adviser_of_many_farms_is_noted_in_each_by_one_statement(northfield: Farm, region, anna, dana, carla):
    farms = [make_farm(f"Farm {number}", region, carla) for number in range(40)]
    with as_factory():
        Consent.objects.bulk_create(
            Consent(farm=farm, kind="adviser", adviser=dana, given_by=carla, given_at=NOW, entry=1) for farm in farms
        )
        Membership.objects.create(farm=farms[0], user=dana, role=FarmRole.RECORDER, began_at=NOW)
    with acting(dana), CaptureQueriesContext(connection) as queries:
        assert services.note_in_all_logs(user=dana, kind=LogKind.SIGN_IN, now=NOW, about="code") == 41
    assert sum("farms_logevent" in each["sql"] for each in queries) == 1
    with as_factory():
        noted = LogEvent.objects.filter(kind="sign_in")
        assert noted.values("farm_id").distinct().count() == 41
        assert set(noted.values_list("actor_id", "about")) == {(dana.id, "code")}
        assert noted.get(farm=farms[0]).actor_kind == "farm_staff"
        assert set(noted.exclude(farm=farms[0]).values_list("actor_kind", flat=True)) == {"adviser"}


def test_the_log_is_asked_by_kind_and_from_a_moment_on(northfield: Farm, anna: User):
    with acting(anna):
        for hours in (1, 2):
            services.note_in_all_logs(user=anna, kind=LogKind.SIGN_IN, now=NOW + timedelta(hours=hours))
        assert [each.kind for each in log_of(northfield)] == ["sign_in", "sign_in", "consent_given"]
        assert log_of(northfield, kind="sign_in").count() == 2
        assert log_of(northfield, since=NOW + timedelta(hours=2)).count() == 1


def test_people_and_keys_are_named_as_they_are_called_now(northfield: Farm, southmead: Farm, anna, carla):
    ends = TODAY + timedelta(days=1)
    made = []
    for farm, owner in ((northfield, anna), (southmead, carla)):
        with acting(owner):
            made.append(
                services.make_token(farm=farm, name="Herd", scope="read", by=owner, expires_at=ends, now=TODAY)[0]
            )
    with acting(anna):
        found = names_in_log(northfield, {anna.id, made[0].id, made[1].id})
    assert found == {anna.id: "Anna", made[0].id: "Herd"}
