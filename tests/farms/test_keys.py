"""Keys: a program's token, the farm phone, the sign-in link. Told once, stored as a hash, ended at will."""

import re
from datetime import timedelta

import pytest
from django.db import ProgrammingError, connection
from django.utils import timezone

from farms import access, credentials, services
from farms.access import Need
from farms.errors import Forbidden, Invalid, Missing
from farms.models import ApiToken, Farm, PhoneCode, SignInLink, User
from farms.selectors import token_by_key, tokens_of
from farms.tenancy.acting import act_for_nobody
from tests.cast import acting, acting_token, as_factory, as_role

pytestmark = pytest.mark.django_db
# Tokens end by the database's own clock, so these tests live today.
TODAY = timezone.now()
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


def make_token(farm: Farm, by: User, **changes):
    wanted = {"name": "Barn script", "scope": "write", "expires_at": TODAY + DAY, "now": TODAY, **changes}
    with acting(by):
        return services.make_token(farm=farm, by=by, **wanted)


def test_a_key_is_told_once_and_opens_its_farm(northfield: Farm, anna: User):
    token, key = make_token(northfield, anna)
    assert re.fullmatch(r"fly_[A-Za-z0-9_-]{43}", key)
    with as_factory():
        stored = ApiToken.objects.get(pk=token.pk)
        assert bytes(stored.key_hash) == credentials.key_hash(key)
    assert token_by_key(key, TODAY) == token
    assert access.farm_for(token, northfield.id, needs=Need.RECORD) == northfield
    act_for_nobody()


def test_a_token_sees_its_own_farm_and_no_other_farm_of_its_maker(northfield: Farm, southmead: Farm, anna, carla):
    with acting(carla):
        services.add_member(farm=southmead, user=anna, role="owner", by=carla, now=TODAY)
    token, _key = make_token(northfield, anna)
    with acting(anna):
        assert Farm.objects.count() == 2
    with acting_token(token):
        assert list(Farm.objects.all()) == [northfield]
        assert access.role_on(token, southmead.id) is None
        with pytest.raises(Missing):
            access.farm_for(token, southmead.id)


@pytest.mark.parametrize(("scope", "may"), [("read", {Need.READ}), ("write", {Need.COUNT, Need.READ, Need.RECORD})])
def test_a_token_may_what_its_scope_says(northfield: Farm, anna: User, scope, may):
    token, _key = make_token(northfield, anna, scope=scope)
    with acting_token(token):
        assert access.role_on(token, northfield.id).may == may
        with pytest.raises(Forbidden):
            access.farm_for(token, northfield.id, needs=Need.OWN)


def test_a_reading_token_writes_nothing_even_past_the_door(northfield: Farm, anna: User):
    token, _key = make_token(northfield, anna, scope="read")
    with acting_token(token), pytest.raises(ProgrammingError, match="row-level security"):
        services.add_facility(farm=northfield, name="New", kind="other")


def test_a_token_that_ended_or_was_revoked_opens_nothing(northfield: Farm, anna: User):
    token, key = make_token(northfield, anna)
    old, old_key = make_token(northfield, anna, now=TODAY - 2 * DAY, expires_at=TODAY - DAY)
    assert token_by_key(old_key, TODAY) is None
    assert token_by_key(key, TODAY + 2 * DAY) is None
    act_for_nobody()
    with acting(anna):
        services.revoke_token(token=token, by=anna, now=TODAY)
        assert services.revoke_token(token=token, by=anna, now=TODAY + HOUR).revoked_at == TODAY
    assert token_by_key(key, TODAY) is None
    for dead in (token, old):
        with acting_token(dead):
            assert Farm.objects.count() == 0


def test_the_day_of_its_last_use_is_noted(northfield: Farm, anna: User):
    _token, key = make_token(northfield, anna, scope="read")
    token_by_key(key, TODAY)
    act_for_nobody()
    with acting(anna):
        assert tokens_of(northfield).get().last_used_on == timezone.now().date()


def test_an_unknown_key_opens_nothing(northfield: Farm):
    assert token_by_key("fly_" + "A" * 43, TODAY) is None
    assert token_by_key("", TODAY) is None


@pytest.mark.parametrize(("changes", "pointers"), [
    ({"expires_at": TODAY}, ["/expires_at"]),
    ({"expires_at": TODAY + 401 * DAY}, ["/expires_at"]),
    ({"name": " ", "scope": "count"}, ["/name", "/scope"]),
])  # fmt: skip
def test_a_token_has_a_name_a_scope_and_an_end(northfield: Farm, anna: User, changes, pointers):
    with pytest.raises(Invalid) as refused:
        make_token(northfield, anna, **changes)
    assert [each.pointer for each in refused.value.errors] == pointers


def test_carla_makes_and_ends_no_token_of_northfield(northfield: Farm, anna: User, carla: User):
    token, key = make_token(northfield, anna)
    with pytest.raises(ProgrammingError, match="row-level security"):
        make_token(northfield, carla)
    with acting(carla):
        assert list(tokens_of(northfield)) == []
        with pytest.raises(ApiToken.DoesNotExist):
            services.revoke_token(token=token, by=carla, now=TODAY)
    assert token_by_key(key, TODAY) == token


def phone_code(farm: Farm, by: User, now=TODAY) -> str:
    with acting(by):
        return services.make_phone_code(farm=farm, by=by, now=now)[1]


def test_a_code_makes_a_phone_the_farms_once(northfield: Farm, dana: User):
    code = phone_code(northfield, dana)
    assert re.fullmatch(r"\d{4} \d{4}", code)
    key = services.use_phone_code(
        code=f" {code.replace(' ', '-')} ", name="Barn phone", expires_at=TODAY + 90 * DAY, now=TODAY
    )
    token = token_by_key(key, TODAY)
    assert (token.scope, token.name, token.farm_id, token.made_by) == ("count", "Barn phone", northfield.id, dana)
    assert access.role_on(token, northfield.id) == access.PHONE
    with pytest.raises(Forbidden):
        access.farm_for(token, northfield.id, needs=Need.READ)
    with pytest.raises(services.PhoneCodeWrong):
        services.use_phone_code(code=code, name="Another", expires_at=TODAY + DAY, now=TODAY)


@pytest.mark.parametrize("code", ["0000 0000", "", "12", "1234567890", "fly"])
def test_a_code_that_nobody_gave_opens_nothing(northfield: Farm, code):
    with pytest.raises(services.PhoneCodeWrong):
        services.use_phone_code(code=code, name="Phone", expires_at=TODAY + DAY, now=TODAY)


def test_a_code_ends_after_a_quarter_of_an_hour(northfield: Farm, anna: User):
    code = phone_code(northfield, anna, now=timezone.now() - timedelta(minutes=16))
    with pytest.raises(services.PhoneCodeWrong):
        services.use_phone_code(code=code, name="Phone", expires_at=TODAY + DAY, now=TODAY)


def test_the_same_digits_of_two_farms_open_neither(northfield: Farm, southmead: Farm, anna: User, carla: User):
    code = phone_code(northfield, anna)
    phone_code(southmead, carla)
    with as_factory():
        PhoneCode.objects.update(code_hash=credentials.code_hash(code.replace(" ", "")))
    with pytest.raises(services.PhoneCodeWrong):
        services.use_phone_code(code=code, name="Phone", expires_at=TODAY + DAY, now=TODAY)


def test_carla_makes_no_code_for_northfield(northfield: Farm, carla: User):
    with pytest.raises(ProgrammingError, match="row-level security"):
        phone_code(northfield, carla)


def test_a_link_signs_in_once(anna: User):
    key = services.make_sign_in_link(user=anna, now=TODAY, valid_for=HOUR)
    assert bytes(SignInLink.objects.get().key_hash) == credentials.key_hash(key)
    assert services.use_sign_in_link(key=key, now=TODAY + HOUR / 2) == anna
    with pytest.raises(services.SignInLinkSpent):
        services.use_sign_in_link(key=key, now=TODAY + HOUR / 2)


def test_a_link_that_is_too_old_or_unknown_signs_nobody_in(anna: User):
    key = services.make_sign_in_link(user=anna, now=TODAY, valid_for=HOUR)
    for tried, moment in ((key, TODAY + HOUR), ("", TODAY), (key[:-1], TODAY)):
        with pytest.raises(services.SignInLinkSpent):
            services.use_sign_in_link(key=tried, now=moment)


def test_a_link_of_somebody_who_was_shut_out_signs_nobody_in(carla: User):
    key = services.make_sign_in_link(user=carla, now=TODAY, valid_for=HOUR)
    carla.is_active = False
    carla.save()
    with pytest.raises(services.SignInLinkSpent):
        services.use_sign_in_link(key=key, now=TODAY)


def test_the_roles_of_the_work_behind_the_scenes_ask_for_no_key(northfield: Farm):
    for role in ("worker", "cohort", "region", "eraser"):
        with pytest.raises(ProgrammingError, match="permission denied"), as_role(role), connection.cursor() as cursor:
            cursor.execute("SELECT * FROM find_token(%s)", [bytes(32)])
