"""Fly walks on pages: a plain form, a place below the other; followed until it is gone; harmless whatever is typed."""

import io
import zipfile
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from farms.ids import uuid7
from farms.models import Facility, Season
from monitoring.models import Finding, FindingPhoto, FindingStep, Walk
from monitoring.services import FindingPhotoSent, add_finding_photo, refresh_summaries
from tests.alerts.scene import alerts, check, count_week, monday
from tests.cast import NOW, acting, as_factory
from tests.monitoring.pictures import claiming, jpeg
from tests.monitoring.sending import STAFF, TODAY
from tests.monitoring.walking import found, only_finding, step, walk
from tests.server.web.pages import at, hidden_fields, words

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


def begin(client, farm, query=""):
    """The form of a walk as it stands on its page, with nothing looked at."""
    page = client.get(at("walk_new", farm) + query)
    assert page.status_code == 200
    return hidden_fields(page) | {"walked_on": TODAY.isoformat()}


def place_of(form, code):
    """The prefix of the place in a form."""
    return next(name.partition("-")[0] for name, value in form.items() if name.endswith("-place") and value == code)


def looked(form, code, **typed):
    prefix = place_of(form, code)
    return {f"{prefix}-{name}": value for name, value in {"looked": "found", **typed}.items()}


def upload(content):
    return SimpleUploadedFile("barn.jpg", content, "image/jpeg")


class TestTheForm:
    def test_it_asks_for_what_fits_the_barn_and_in_spring_for_what_the_winter_left(
        self, browser, ben, northfield, calf_barn, free_stall_barn
    ):
        client = browser(ben)
        # June 1 is eight weeks after the season opened: it is spring no more.
        calves = words(browser(ben).get(at("walk_new", northfield) + f"?building={calf_barn.id}"))
        assert "orners and edges of pens" in calves or "squinas y bordes" in calves
        form = begin(client, northfield, f"?building={free_stall_barn.id}")
        assert place_of(form, "out_of_reach") and "winter_pack" not in form.values()
        with as_factory():
            Season.objects.filter(farm=northfield).update(opens_on=TODAY - 20 * DAY)
        assert "winter_pack" in begin(client, northfield).values()

    def test_a_walk_is_noted_in_one_piece_with_its_photos(self, browser, anna, northfield, calf_barn, cards):
        client = browser(anna)
        query = f"?card={cards[3].id}"
        form = begin(client, northfield, query)
        sent = form | looked(
            form, "waterers", larvae="some", moisture="wet", material="bedding", to_do="Mend the float",
            by_whom="Luis", due_on="2026-06-03", across="25", down="50", station_id=str(cards[3].id),
            photo=upload(jpeg()),
        ) | looked(form, "gutters", looked="nothing") | looked(
            form, "other", place_words="behind the <b>bags</b>", note="<script>alert(1)</script>"
        )  # fmt: skip
        answer = client.post(at("walk_new", northfield) + query, sent)
        assert answer.status_code == 302, words(answer)
        with as_factory():
            walked, rows = Walk.objects.get(), {row.place: row for row in Finding.objects.all()}
        assert (walked.facility_id, walked.station_id) == (calf_barn.id, cards[3].id)
        assert rows.keys() == {"waterers", "gutters", "other"}
        wet = rows["waterers"]
        assert (wet.x, wet.y, wet.larvae, wet.station_id, wet.facility_id) == (
            0.25, 0.5, "some", cards[3].id, calf_barn.id
        )  # fmt: skip
        assert rows["gutters"].nothing and not rows["other"].nothing
        page = client.get(answer.url)
        told = words(page)
        assert "Under waterers, Calf barn: bedding, wet, some maggots Mend the float (Luis)" in told
        assert "<script>alert" not in page.content.decode() and "&lt;b&gt;bags" in page.content.decode()
        shown = client.get(at("finding", northfield, finding_id=rows["other"].id))
        assert "<script>alert" not in shown.content.decode() and "&lt;script&gt;alert(1)" in shown.content.decode()
        with as_factory():
            picture = FindingPhoto.objects.get()
        small = client.get(at("small_finding_photo", northfield, finding_photo_id=picture.id))
        assert small.content.startswith(b"\xff\xd8\xff") and small.headers["Cache-Control"] == "private, no-cache"
        # The same form once more, from a hand in a glove: it is known.
        sent |= {f"{place_of(form, 'waterers')}-photo": upload(jpeg())}
        assert client.post(at("walk_new", northfield) + query, sent).status_code == 302
        with as_factory():
            assert (Walk.objects.count(), FindingPhoto.objects.count()) == (1, 1)

    @pytest.mark.parametrize(
        ("typed", "says"),
        [
            ({}, "Nothing was looked at"),
            ({"walked_on": "2026-06-02"}, "This day is still to come"),
            ({"looked": "", "to_do": "Scrape"}, "Say whether something was found"),
            ({"looked": "", "across": "50"}, "Say whether something was found"),
            ({"looked": "nothing", "larvae": "many"}, "Take one of them away"),
            ({"looked": "found"}, "If it was nothing, say so"),
            ({"looked": "found", "larvae": "some", "due_on": "2026-05-01"}, "before the one on which it was found"),
            ({"looked": "found", "larvae": "some", "across": "50"}, "Give both"),
            ({"looked": "found", "larvae": "some", "across": "150", "down": "1"}, "less than or equal to 100"),
            ({"looked": "found", "larvae": "some", "to_do": "x" * 301}, "longer than 300"),
        ],
    )
    def test_what_cant_be_right_stays_on_the_page_with_a_sentence(self, browser, anna, northfield, typed, says):
        client = browser(anna)
        form = begin(client, northfield)
        day = {"walked_on": typed.pop("walked_on")} if "walked_on" in typed else {}
        some = looked(form, "waterers", **typed) if typed else {}
        some |= looked(form, "waterers", larvae="some") if day else {}
        answer = client.post(at("walk_new", northfield), form | some | day | {"p0-note": ""})
        assert answer.status_code == 422 and says in words(answer)
        for value in typed.values():
            assert value in answer.content.decode()
        with as_factory():
            assert not Walk.objects.exists()

    def test_a_photo_that_cant_be_kept_is_named_and_all_else_is_kept(self, browser, anna, northfield):
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w") as archive:
            archive.writestr("a", "b")
        client = browser(anna)
        form = begin(client, northfield)
        sent = form | looked(form, "waterers", larvae="some", photo=upload(claiming(6000, 5000)))
        sent |= looked(form, "feed_bunks", larvae="some", photo=upload(packed.getvalue()))
        sent |= looked(form, "silo_edges", larvae="some", photo=upload(jpeg()))
        told = words(client.post(at("walk_new", northfield), sent, follow=True))
        assert "The photo of “under waterers” isn't kept: This photo has more than 25 megapixels" in told
        assert "The photo of “along feed bunks” isn't kept: This file is no JPEG and no PNG picture" in told
        with as_factory():
            assert (Finding.objects.count(), FindingPhoto.objects.count()) == (3, 1)

    def test_another_farms_barn_card_or_matter_is_not_found(self, browser, anna, southmead, carla, northfield):
        with as_factory():
            barn = Facility.objects.get(farm=southmead)
        for query in (f"?building={barn.id}", f"?card={uuid7()}", f"?matter={uuid7()}", "?building=x", "?card=x"):
            assert browser(anna).get(at("walk_new", northfield) + query).status_code == 404

    def test_it_says_where_walking_can_hurt_and_defers(self, browser, anna, northfield):
        told = words(browser(anna).get(at("walk_new", northfield)))
        for part in ("no pen with a bull", "gas that kills", "electric wires", "Local codes"):
            assert part in told


class TestAFinding:
    @pytest.fixture
    def finding(self, northfield, calf_barn, anna):
        with acting(anna):
            walk(northfield, found(facility=calf_barn, to_do="Mend the float", by_whom="Luis", due_on=TODAY - 2 * DAY),
                 on=TODAY - 5 * DAY)  # fmt: skip
            return only_finding(northfield)

    def test_it_is_late_on_the_farms_page_and_done_and_looked_at_again(self, browser, anna, dana, northfield, finding):
        client, page = browser(anna), at("finding", northfield, finding_id=finding.known)
        for who in (anna, dana):
            told = words(browser(who).get(at("farm", northfield)))
            assert "late, by Saturday, May 30" in told and "Mend the float (Luis)" in told
        assert client.post(page, {"kind": "done", "on": "2026-06-01", "note": "new float"}).status_code == 302
        told = words(client.get(page))
        assert "Done on Monday, June 1, look again on Monday, June 8" in told and "new float" in told
        assert "late" not in words(client.get(at("farm", northfield)))
        assert client.post(page, {"kind": "still_there", "on": "2026-06-01"}).status_code == 302
        assert client.post(page, {"kind": "gone", "on": "2026-06-01"}).status_code == 302
        assert "Mend the float" not in words(client.get(at("farm", northfield)))
        refused = client.post(page, {"kind": "done", "on": "2026-06-01"})
        assert refused.status_code == 422
        with as_factory():
            assert FindingStep.objects.count() == 3

    @pytest.mark.parametrize(
        ("typed", "says"),
        [
            ({"kind": "done", "on": "2026-06-02"}, "This day is still to come"),
            ({"kind": "done", "on": "2026-05-01"}, "when it was noted last"),
            ({"kind": "", "on": "2026-06-01"}, "required"),
            ({"kind": "done", "on": ""}, "Choose a day"),
        ],
    )
    def test_a_step_that_cant_be_right_is_refused(self, browser, anna, northfield, finding, typed, says):
        refused = browser(anna).post(
            at("finding", northfield, finding_id=finding.known), typed | {"note": "kept words"}
        )
        assert refused.status_code == 422 and says in words(refused)
        assert "kept words" in refused.content.decode()

    def test_it_is_corrected_and_a_step_is_mended_and_both_are_told(self, browser, anna, northfield, finding):
        client, page = browser(anna), at("finding", northfield, finding_id=finding.known)
        correct = at("correct_finding", northfield, finding_id=finding.known)
        assert "Mend the float" in client.get(correct).content.decode()
        typed = {"place": "gutters", "seen_on": "2026-05-27", "larvae": "many", "reason": "<b>wrong</b> side"}
        assert "Say why" in words(client.post(correct, typed | {"reason": ""}))
        assert client.post(correct, typed).status_code == 302
        told = words(client.get(page))
        assert "Gutters" in told and "Changed: “<b>wrong</b> side”" in told and "Under waterers, Calf barn" in told
        with acting(anna):
            made = step(northfield, "done")
        mend = at("mend_finding_step", northfield, finding_id=finding.known, finding_step_id=made.id)
        assert client.get(mend).status_code == 200
        typed = {"kind": "withdrawn", "on": "2026-06-01", "reason": "another place"}
        assert client.post(mend, typed).status_code == 302
        assert "changed since; it holds no longer" in words(client.get(page))
        assert "already changed" in words(client.post(mend, typed))
        gone = client.post(correct, {"place": "gutters", "seen_on": "2026-05-27", "withdrawn": "on", "reason": "twice"})
        assert gone.status_code == 302 and client.get(page).status_code == 404

    def test_photos_are_added_and_erased_by_who_may(self, browser, anna, ben, northfield, finding):
        client, page = browser(ben), at("finding", northfield, finding_id=finding.known)
        add = at("finding_photos", northfield, finding_id=finding.known)
        sent = {"id": str(uuid7()), "file": upload(jpeg())}
        assert client.post(add, sent).status_code == 302
        assert "25 mega" in words(
            client.post(add, {"id": str(uuid7()), "file": upload(claiming(6000, 5000))}, follow=True)
        )
        with as_factory():
            made = FindingPhoto.objects.get()
        erase = at("erase_finding_photo", northfield, finding_photo_id=made.id)
        assert client.post(erase).status_code == 403
        owner = browser(anna)
        assert owner.get(erase).status_code == 200 and owner.post(erase).status_code == 302
        assert owner.get(at("finding_photo", northfield, finding_photo_id=made.id)).status_code == 404
        assert "finding-photos" not in owner.get(page).content.decode()

    def test_strangers_find_nothing_of_it(self, browser, anna, carla, southmead, northfield, finding):
        with acting(anna):
            made = add_finding_photo(
                finding=finding, sent=FindingPhotoSent(uuid7(), jpeg()), actor=STAFF, now=NOW
            )  # fmt: skip
        for farm in (northfield, southmead):
            for page in (
                at("finding", farm, finding_id=finding.known), at("walk", farm, walk_id=finding.walk_id),
                at("finding_photo", farm, finding_photo_id=made.id),
            ):  # fmt: skip
                assert browser(carla).get(page).status_code == 404


def test_a_walk_begins_with_an_open_matter_or_a_card_that_stands_out(browser, anna, group, northfield, cards):
    for number in (5, 6, 7):
        count_week(cards, monday(number), [20, 20, 20, 900, 20])
        check(group, monday(number))
    with acting(anna):
        refresh_summaries(farm_ids=[northfield.id], weeks=[monday(7)])
    client, alert = browser(anna), alerts(northfield, still_open=True)[0]
    matter = client.get(at("alert", northfield, alert_id=alert.id)).content.decode()
    assert f"{at('walk_new', northfield)}?matter={alert.id}" in matter
    assert f"?card={cards[3].id}" in client.get(at("farm", northfield)).content.decode()
    assert f"?card={cards[3].id}" in client.get(at("plan", northfield)).content.decode()
    form = begin(client, northfield, f"?matter={alert.id}")
    code = next(value for name, value in form.items() if name.endswith("-place"))
    sent = form | looked(form, code, larvae="some", to_do="Scrape the corner")
    assert client.post(at("walk_new", northfield) + f"?matter={alert.id}", sent).status_code == 302
    assert "Scrape the corner" in words(client.get(at("alert", northfield, alert_id=alert.id)))
    with as_factory():
        walked = Walk.objects.get()
    assert walked.alert_id == alert.id
    assert "It began with this open matter" in words(client.get(at("walk", northfield, walk_id=walked.id)))
