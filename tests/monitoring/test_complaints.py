"""Complaints: what was said and answered, mended by later rows; the farm's owners' and advisers' alone."""

from datetime import date, timedelta

import pytest
from django.db import ProgrammingError, connection, transaction
from django.utils import timezone

from farms.errors import Missing
from farms.services import make_token
from monitoring.errors import AlreadyMended, ComplaintRefused
from monitoring.models import Complaint, ComplaintAnswer, ComplaintAnswerWords, ComplaintWords
from monitoring.selectors import (
    answers_of,
    complaints_of,
    versions_of_complaint,
    words_of_answers,
    words_of_complaints,
)
from monitoring.services import AnswerTyped, ComplaintTyped, Why, answer_complaint, record_complaint
from tests.cast import NOW, acting, acting_token, as_factory, as_role
from tests.monitoring.sending import STAFF, TODAY, chain_holds, words_hold

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
TABLES = (Complaint, ComplaintWords, ComplaintAnswer, ComplaintAnswerWords)


def typed(**more):
    usual = {
        "heard_on": TODAY - DAY, "came": "call", "said_by": "neighbour", "said": "Flies on the porch",
        "sender": "Mrs. Quill", "place": "about half a mile east",
    }  # fmt: skip
    return ComplaintTyped(**{**usual, **more})


def answer(**more):
    return AnswerTyped(
        **{"answered_on": TODAY, "went": "visit", "answered": "We showed the cards", "by": "Anna"} | more
    )


def record(farm, what=None, mending=None):
    return record_complaint(farm=farm, typed=what or typed(), actor=STAFF, now=NOW, mending=mending)


def reply(farm, what=None, mending=None):
    complaint = complaints_of(farm).get()
    return answer_complaint(complaint=complaint, typed=what or answer(), actor=STAFF, now=NOW, mending=mending)


def test_a_complaint_and_its_answers_are_noted_and_chained(northfield, anna, dana):
    with acting(anna):
        made = record(northfield)
        first, second = reply(northfield), reply(northfield, answer(answered="We called again", by=""))
    with acting(dana):
        assert complaints_of(northfield).get().known == made.id
        assert [each.id for each in answers_of(northfield)] == [first.id, second.id]
        said = words_of_complaints(northfield, [made.id])[made.id]
        assert said == {"said": "Flies on the porch", "sender": "Mrs. Quill", "place": "about half a mile east"}
        assert words_of_answers(northfield, [second.id]) == {second.id: {"answered": "We called again"}}
    assert chain_holds(northfield) and words_hold(northfield)


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({"heard_on": TODAY + DAY}, "/heard_on"),
        ({"heard_on": date(26, 6, 1)}, "/heard_on"),
        ({"came": "pigeon"}, "/came"),
        ({"said_by": "friend"}, "/said_by"),
        ({"said": " "}, "/said"),
        ({"said": "x" * 2001}, "/said"),
        ({"sender": "a\x00b"}, "/sender"),
        ({"place": "x" * 201}, "/place"),
    ],
)
def test_what_cant_be_right_of_a_complaint_is_named(northfield, anna, wrong, pointer):
    with acting(anna):
        with pytest.raises(ComplaintRefused) as refused:
            record(northfield, typed(**wrong))
        assert [each.pointer for each in refused.value.errors] == [pointer]
        assert not complaints_of(northfield).exists()


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({"answered_on": TODAY + DAY}, "/answered_on"),
        ({"answered_on": TODAY - 2 * DAY}, "/answered_on"),
        ({"went": "pigeon"}, "/went"),
        ({"answered": ""}, "/answered"),
        ({"by": "x" * 201}, "/by"),
    ],
)
def test_what_cant_be_right_of_an_answer_is_named(northfield, anna, wrong, pointer):
    with acting(anna):
        record(northfield)
        with pytest.raises(ComplaintRefused) as refused:
            reply(northfield, answer(**wrong))
        assert [each.pointer for each in refused.value.errors] == [pointer]
        assert not answers_of(northfield).exists()


def test_both_are_mended_by_later_rows_with_a_reason(northfield, anna):
    with acting(anna):
        first = record(northfield)
        wrong = reply(northfield)
        with pytest.raises(ComplaintRefused) as refused:
            record(northfield, mending=Why(first, ""))
        assert refused.value.errors[0].pointer == "/reason"
        second = record(northfield, typed(came="letter"), Why(first, "it was a letter"))
        with pytest.raises(AlreadyMended):
            record(northfield, mending=Why(first, "again"))
        right = reply(northfield, answer(went="call"), Why(wrong, "it was a call"))
        with pytest.raises(AlreadyMended):
            reply(northfield, mending=Why(wrong, "again"))
        stands = complaints_of(northfield).get()
        assert (stands.id, stands.known, stands.came) == (second.id, first.id, "letter")
        assert [each.id for each in versions_of_complaint(stands)] == [first.id, second.id]
        assert [(each.id, each.replaced) for each in answers_of(northfield)] == [(wrong.id, True), (right.id, False)]
        # The answer stays with the complaint, whatever was mended.
        assert right.complaint_id == first.id
    assert chain_holds(northfield) and words_hold(northfield)


def test_who_only_counts_a_key_a_stranger_and_the_coordinator_read_nothing(
    northfield, southmead, anna, dana, ben, carla, erik
):
    now = timezone.now()
    with acting(anna):
        record(northfield)
        reply(northfield)
        ends = now + 9 * DAY
        token, _key = make_token(farm=northfield, name="loader", scope="write", by=anna, expires_at=ends, now=now)
    for who, seen in ((anna, 1), (dana, 1), (ben, 0), (carla, 0), (erik, 0)):
        with acting(who):
            assert [table.objects.count() for table in TABLES] == [seen] * 4
    with acting_token(token):
        assert [table.objects.count() for table in TABLES] == [0] * 4
    for who in (acting(ben), acting_token(token)):
        with who, pytest.raises(ProgrammingError, match="row-level security"), transaction.atomic():
            record(northfield)
    with acting(carla), pytest.raises(Missing):
        record(northfield)
    with as_factory():
        assert Complaint.objects.count() == 1


@pytest.mark.parametrize("role", ["worker", "cohort", "region"])
@pytest.mark.parametrize("table", [table._meta.db_table for table in TABLES])
def test_no_role_that_mails_compares_or_reports_reads_a_complaint(northfield, role, table):
    with as_role(role), pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
        connection.cursor().execute(f"SELECT 1 FROM {table}")


def test_the_words_can_be_erased_and_the_chain_holds(northfield, anna):
    with acting(anna):
        made = record(northfield)
    with as_role("eraser"), connection.cursor() as cursor:
        cursor.execute("SELECT set_config('app.farm_id', %s, true)", [str(northfield.id)])
        cursor.execute("DELETE FROM monitoring_complaintwords")
    with acting(anna):
        assert words_of_complaints(northfield, [made.id]) == {}
        assert complaints_of(northfield).get().id == made.id
    assert chain_holds(northfield)
