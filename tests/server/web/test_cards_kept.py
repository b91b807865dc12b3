"""Where the dated cards are kept: owner and adviser note it, earlier places stay, and the chain holds without them."""

import pytest
from django.urls import reverse

from farms.chained_rows import hash_again
from farms.ledger import verify_links
from farms.models import ErasedRow
from farms.services import erase_rows
from monitoring.models import CardsKept
from tests.cast import NOW, as_factory

pytestmark = pytest.mark.django_db


def kept(farm) -> list[str]:
    with as_factory():
        return list(CardsKept.objects.filter(farm_id=farm.id).order_by("id").values_list("words", flat=True))


def address(farm) -> str:
    return reverse("cards_kept", args=[farm.id])


def test_the_owner_notes_a_place_and_reads_it(browser, anna, northfield):
    answer = browser(anna).post(address(northfield), {"words": "a dry box <b>", "from_on": "2026-04-06"}, follow=True)
    assert "a dry box &lt;b&gt;" in answer.content.decode()
    assert kept(northfield) == ["a dry box <b>"]


def test_the_adviser_notes_a_later_place_and_the_earlier_one_stays(browser, anna, dana, northfield):
    for user, words in ((anna, "a box"), (dana, "the attic")):
        browser(user).post(address(northfield), {"words": words, "from_on": "2026-05-01"})
    assert kept(northfield) == ["a box", "the attic"]
    with as_factory():
        assert verify_links(northfield.id) == []


@pytest.mark.parametrize("sent", [{"words": "", "from_on": "2026-05-01"}, {"words": "box", "from_on": "2099-01-01"}])
def test_nothing_is_kept_of_no_words_or_a_far_day(browser, anna, northfield, sent):
    assert browser(anna).post(address(northfield), sent).status_code == 422
    assert kept(northfield) == []


def test_whoever_only_counts_may_not_and_a_stranger_finds_nothing(browser, ben, carla, northfield):
    assert browser(ben).get(address(northfield)).status_code == 403
    assert browser(carla).get(address(northfield)).status_code == 404


def test_an_erased_place_leaves_its_hash(browser, anna, northfield):
    browser(anna).post(address(northfield), {"words": "Pia's desk", "from_on": "2026-05-01"})
    with as_factory():
        row = CardsKept.objects.get(farm_id=northfield.id)
        before = hash_again(row)
        erase_rows([row], now=NOW)
        assert bytes(ErasedRow.objects.get(farm_id=northfield.id).row_hash) == before
        assert verify_links(northfield.id) == []
    assert kept(northfield) == []
