import pytest

from farms.services import add_person
from monitoring.models import Placement, Reading, Round
from tests.cast import NOW, acting, as_factory
from tests.server.web.pages import at, words
from tests.server.web.rounds import Sheet

pytestmark = pytest.mark.django_db
DAY = "2026-05-18"


@pytest.fixture
def hung(northfield, cards):
    with as_factory():
        return Placement.objects.bulk_create(
            Placement(farm=northfield, station_id=card.id, hung_on="2026-05-11", zone="America/Chicago", entry=1)
            for card in cards
        )


@pytest.fixture
def lucia(anna, northfield):
    with acting(anna):
        return add_person(farm=northfield, name="Lucia", initials="LU", now=NOW)


def test_a_sheet_is_typed_with_who_counted_and_who_typed_on_their_days(browser, dana, northfield, cards, hung, lucia):
    sheet = Sheet(browser(dana), northfield, at("paper", northfield) + f"?day={DAY}")
    assert "7 days" in words(sheet.page)
    sheet.type(cards[0], count="41").type(cards[1], reason="lost", fresh=None)
    sheet.fields |= {"typed_by": "", "typed_on": "2026-05-30"}
    sent = sheet.send(counted_by=str(lucia.id))
    assert sent.status_code == 302
    page = words(sheet.client.get(sent.url))
    assert "Counted by Lucia Typed in May 30, 2026" in page and "typed from paper" in page
    with as_factory():
        walk = Round.objects.get(farm=northfield)
        assert (walk.source, f"{walk.walked_on}", walk.counted_by) == ("paper", DAY, lucia.id)
        assert (f"{walk.typed_on}", walk.typed_by, walk.actor_kind) == ("2026-05-30", None, "adviser")
        assert Reading.objects.filter(farm=northfield).count() == 2
        assert Placement.objects.filter(farm=northfield, hung_on=DAY).count() == 1


def test_a_wrong_row_is_told_and_the_rest_is_kept(browser, dana, northfield, cards, hung, lucia):
    sheet = Sheet(browser(dana), northfield, at("paper", northfield) + f"?day={DAY}")
    sheet.type(cards[0], count="41", reason="wet").type(cards[1], count="52")
    sheet.fields |= {"typed_by": str(lucia.id), "typed_on": "2026-05-30"}
    refused = sheet.send()
    assert refused.status_code == 422
    assert "Card 1 has a count and a reason" in words(refused) and 'value="52"' in refused.content.decode()
    with as_factory():
        assert not Reading.objects.exists()


def test_a_recorder_does_not_type_sheets_in(browser, ben, northfield):
    assert browser(ben).get(at("paper", northfield)).status_code == 403
