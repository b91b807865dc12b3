"""The pages on which temperatures are typed or brought in: a farm's, and a coordinator's for a region."""

from datetime import date, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from monitoring.models import DailyTemperature, FarmTemperature
from tests.cast import NOW, as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db
TODAY = NOW.date()
GOOD = b"day,min,max,unit\n2026-05-30,12.5,27,C\n2026-05-31,50,86,F\n"
BAD = GOOD + b"2026-05-29,30,20,C\n2026-05-28,x,20,C\n"


def typed(unit="C", **days):
    """Fields of the form: day_31=(12, 27) for May 31."""
    fields = {"unit": unit}
    for name, (lowest, highest) in days.items():
        day = date(2026, 5, int(name.removeprefix("day_")))
        fields |= {f"min-{day}": str(lowest), f"max-{day}": str(highest)}
    return fields


def upload(client, address, content, **fields):
    return client.post(f"{address}file/", {"file": SimpleUploadedFile("days.csv", content), **fields}, follow=True)


def stored(farm):
    with as_factory():
        rows = FarmTemperature.objects.filter(farm=farm).order_by("day")
        return [(row.day.day, row.min_c, row.max_c) for row in rows]


class TestTyping:
    def test_a_few_days_are_stored_and_shown(self, browser, ben, northfield):
        page = browser(ben).post(at("temperatures", northfield), typed(day_31=(12, 27), day_30=("", "")), follow=True)
        assert "1 day stored." in words(page)
        assert "May 31 54 °F 12.0 °C 81 °F 27.0 °C the farm's" in words(page)
        assert "May 30 not known" in words(page)
        assert stored(northfield) == [(31, 12.0, 27.0)]

    def test_fahrenheit_is_typed_as_fahrenheit(self, browser, ben, northfield):
        browser(ben).post(at("temperatures", northfield), typed("F", day_31=(50, 86)))
        assert stored(northfield) == [(31, 10.0, 30.0)]

    @pytest.mark.parametrize(
        ("fields", "told"),
        [
            (typed("", day_31=(12, 27)), "Say whether these are °C or °F."),
            (typed(), "Type the lowest and the highest temperature of at least one day."),
            (typed(day_31=(12, "")), "Type both, the lowest and the highest."),
            (typed(day_31=("warm", 27)), "Type a number, such as 12.5."),
            (typed(day_31=(27, 12)), "The lowest temperature of a day can't be above the highest."),
            (typed(day_31=(54, 81)), "it has to lie from -60 to 60 °C, or -76 to 140 °F."),
        ],
        ids=["no unit", "nothing", "half a day", "a word", "turned round", "Fahrenheit as Celsius"],
    )
    def test_what_can_not_be_is_told_beside_its_day_and_kept_as_typed(self, browser, ben, northfield, fields, told):
        page = browser(ben).post(at("temperatures", northfield), fields | typed_unit(fields))
        assert page.status_code == 422 and told in words(page)
        assert stored(northfield) == []
        for value in fields.values():
            assert f'value="{value}"' in page.content.decode()

    def test_nothing_half_is_stored(self, browser, ben, northfield):
        page = browser(ben).post(at("temperatures", northfield), typed(day_31=(12, 27), day_30=(30, 20)))
        assert page.status_code == 422
        assert stored(northfield) == []


def typed_unit(fields):
    return {} if fields["unit"] else {"unit": ""}


class TestFiles:
    def test_a_file_is_stored_as_a_whole(self, browser, dana, northfield):
        page = upload(browser(dana), at("temperatures", northfield), GOOD)
        assert "2 days stored." in words(page)
        assert stored(northfield) == [(30, 12.5, 27.0), (31, 10.0, 30.0)]

    def test_each_wrong_row_is_named_and_nothing_is_stored(self, browser, dana, northfield):
        page = upload(browser(dana), at("temperatures", northfield), BAD)
        assert page.status_code == 422
        told = words(page)
        assert "No temperature was stored." in told
        assert "4 min The lowest temperature of a day can't be above the highest." in told
        assert "5 min This has to be a number, as 12.5." in told
        assert stored(northfield) == []

    @pytest.mark.parametrize(
        "content",
        [b"", b"\xff\xfe\x00day", b"day,min,max\n2026-05-30,1,2\n", b"x" * (5 * 1024 * 1024 + 1)],
        ids=["empty", "bytes", "no unit", "6 MB"],
    )
    def test_what_is_no_file_of_days_is_refused(self, browser, dana, northfield, content):
        assert upload(browser(dana), at("temperatures", northfield), content).status_code == 422
        assert stored(northfield) == []

    def test_dates_that_could_mean_two_days_need_their_order(self, browser, dana, northfield):
        client, content = browser(dana), b"day,min,max,unit\n5/1/2026,12,27,C\n"
        assert upload(client, at("temperatures", northfield), content).status_code == 422
        upload(client, at("temperatures", northfield), content, order="month_first")
        assert stored(northfield) == [(1, 12.0, 27.0)]


class TestTheRegions:
    def test_the_coordinator_types_and_brings_them_and_farms_without_their_own_show_them(
        self, browser, erik, anna, northfield, region
    ):
        client, address = browser(erik), reverse("region_temperatures", args=[region.id])
        assert "1 day stored." in words(client.post(address, typed(day_31=(12, 27)), follow=True))
        assert "2 days stored." in words(upload(client, address, GOOD))
        with as_factory():
            assert DailyTemperature.objects.filter(region=region).count() == 2
        page = words(browser(anna).get(at("temperatures", northfield)))
        assert "May 31 50 °F 10.0 °C 86 °F 30.0 °C the region's" in page


def test_the_page_is_reached_from_the_settings_and_by_a_recorder_from_the_farms_page(
    browser, anna, ben, group, northfield, cards
):
    from tests.alerts.scene import check, count_week, monday

    count_week(cards, monday(6), [20] * 5)
    check(group, monday(6))
    address = at("temperatures", northfield)
    assert address in browser(anna).get(at("settings", northfield)).content.decode()
    assert address in browser(ben).get(at("farm", northfield)).content.decode()


def test_only_days_that_are_over_are_asked_for(browser, ben, northfield):
    page = browser(ben).get(at("temperatures", northfield)).content.decode()
    assert f'name="min-{TODAY - timedelta(days=1)}"' in page
    assert f'name="min-{TODAY}"' not in page
