"""Complaints on pages: noted, set beside what was counted then, answered; read by owners and advisers alone."""

import pytest

from monitoring.models import Complaint, ComplaintAnswer
from monitoring.services import refresh_summaries
from tests.alerts.scene import check, count_week, monday
from tests.cast import acting, as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db
HEARD = {
    "heard_on": "2026-05-22", "said_by": "neighbour", "came": "call", "said": "Flies on the <b>porch</b>",
    "place": "half a mile east", "sender": "Mrs. Quill",
}  # fmt: skip
ANSWER = {"answered_on": "2026-05-29", "went": "visit", "answered": "We showed the cards", "by": "Anna"}


def noted(client, farm, **more):
    answer = client.post(at("complaints", farm), HEARD | more)
    assert answer.status_code == 302, words(answer)
    return answer.url


def test_it_is_told_beside_the_counts_of_those_weeks_as_they_stand_now(browser, anna, group, northfield, cards):
    client = browser(anna)
    page = noted(client, northfield)
    assert "That is a gap, not a zero" in words(client.get(page))
    # May 22 lies in the week of May 18; those of May 4 to 25 are told, and no other.
    for number, specks in ((3, 40), (5, 80), (6, 120), (7, 150)):
        count_week(cards, monday(number), [specks] * 5)
        check(group, monday(number))
    with acting(anna):
        refresh_summaries(farm_ids=[northfield.id], weeks=[monday(number) for number in range(9)])
    told = words(client.get(page))
    assert monday(6).isoformat() == "2026-05-18"
    for part in ("May 11", "80", "May 18", "120", "at or over", "May 25", "150"):
        assert part in told
    assert "Apr 27" not in told
    assert "&lt;b&gt;porch" in client.get(page).content.decode() and "half a mile east" in told


def test_answers_are_several_and_everything_is_mended_with_a_reason(browser, anna, dana, northfield):
    page = noted(browser(anna), northfield)
    client = browser(dana)
    assert "Not answered yet" in words(client.get(at("complaints", northfield)))
    for words_of in ("We showed the cards", "We called again"):
        assert client.post(page, ANSWER | {"answered": words_of}).status_code == 302
    told = words(client.get(page))
    assert "We showed the cards" in told and "We called again" in told
    with as_factory():
        first, complaint = ComplaintAnswer.objects.order_by("entry").first(), Complaint.objects.get()
    mend = at("mend_complaint_answer", northfield, complaint_id=complaint.id, complaint_answer_id=first.id)
    assert "We showed the cards" in client.get(mend).content.decode()
    assert "Say why" in words(client.post(mend, ANSWER))
    assert client.post(mend, ANSWER | {"went": "call", "reason": "it was a call"}).status_code == 302
    mend = at("mend_complaint", northfield, complaint_id=complaint.id)
    assert "half a mile east" in client.get(mend).content.decode()
    assert client.post(mend, HEARD | {"came": "letter", "reason": "it was a letter"}).status_code == 302
    told = words(client.get(page))
    for part in ("changed since; it holds no longer", "Changed: “it was a call”", "Changed: “it was a letter”",
                 "How it was noted before"):  # fmt: skip
        assert part in told


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"heard_on": "2026-06-02"}, "This day is still to come"),
        ({"heard_on": ""}, "Choose a day"),
        ({"said": ""}, "Write down what was said"),
        ({"came": "pigeon"}, "Select a valid choice"),
        ({"said": "x" * 2001}, "longer than 2000"),
    ],
)
def test_what_cant_be_right_stays_on_the_page(browser, anna, northfield, wrong, says):
    refused = browser(anna).post(at("complaints", northfield), HEARD | wrong)
    assert refused.status_code == 422 and says in words(refused)
    assert "half a mile east" in refused.content.decode()
    with as_factory():
        assert not Complaint.objects.exists()


def test_an_answer_before_the_complaint_is_refused(browser, anna, northfield):
    page = noted(browser(anna), northfield)
    refused = browser(anna).post(page, ANSWER | {"answered_on": "2026-05-01"})
    assert refused.status_code == 422 and "before the complaint came" in words(refused)


def test_who_only_counts_strangers_and_the_coordinator_read_nothing(browser, anna, ben, carla, erik, northfield):
    page = noted(browser(anna), northfield)
    for who, status in ((ben, 403), (carla, 404), (erik, 404)):
        for address in (page, at("complaints", northfield)):
            assert browser(who).get(address).status_code == status
            assert browser(who).post(address, HEARD).status_code == status
    assert at("complaints", northfield) not in browser(ben).get(at("farm", northfield)).content.decode()
    assert at("complaints", northfield) in browser(anna).get(at("farm", northfield)).content.decode()
