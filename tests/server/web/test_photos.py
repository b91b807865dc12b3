"""Photos on a round's page: by a form and by a script, shown small and large, erased after a question."""

from datetime import timedelta
from io import BytesIO

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from farms.ids import uuid7
from farms.services import make_phone_code
from monitoring.models import Photo, PhotoPicture
from tests.cast import NOW, acting, as_factory, make_user
from tests.monitoring.pictures import jpeg
from tests.monitoring.sending import hang
from tests.server.web.pages import at, hidden_fields, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def walked(northfield, cards, anna):
    with acting(anna):
        found = hang(northfield, cards)
    found.farm = northfield
    return found


def body(**more):
    content = more.pop("content", jpeg())
    return {
        "id": str(uuid7()), "kind": "card", "taken_at": "2026-06-01T07:40:00-05:00",
        "file": SimpleUploadedFile("IMG_0001.jpg", content, "image/jpeg"), **more,
    }  # fmt: skip


def send(client, walked, sent, *, script=True):
    accept = "application/json" if script else "text/html,*/*;q=0.8"
    return client.post(at("photos", walked.farm, round_id=walked.id), sent, headers={"Accept": accept})


def phone_of(browser, owner, farm):
    with acting(owner):
        code = make_phone_code(farm=farm, by=owner, now=timezone.now())[1]
    phone = browser()
    phone.post(reverse("phone"), {"code": code})
    return phone


def stored():
    with as_factory():
        return Photo.objects.count(), PhotoPicture.objects.count()


def test_a_script_sends_a_photo_as_often_as_it_likes(browser, ben, walked, cards):
    first = body(station_id=str(cards[2].id))
    again = first | {"file": SimpleUploadedFile("x", jpeg())}
    made = [send(browser(ben), walked, sent) for sent in (first, again)]
    assert [(each.status_code, each.json()) for each in made] == [
        (201, {"id": first["id"]}),
        (200, {"id": first["id"]}),
    ]
    with as_factory():
        photo = Photo.objects.get()
    assert (str(photo.id), photo.station_id, photo.sent_by) == (first["id"], cards[2].id, ben.id)
    assert photo.taken_at.isoformat() == "2026-06-01T12:40:00+00:00"


def test_a_phone_whose_clock_is_wrong_has_its_photo_at_the_right_time(browser, ben, walked):
    ahead = NOW + timedelta(days=2)
    phone = {"taken_at": (ahead - timedelta(minutes=5)).isoformat(), "sent_at": ahead.isoformat()}
    assert send(browser(ben), walked, body(**phone)).status_code == 201
    with as_factory():
        taken = Photo.objects.get().taken_at
    assert taken == NOW - timedelta(minutes=5)


def test_what_a_script_sends_wrongly_is_a_problem(browser, anna, walked):
    client = browser(anna)
    refused = send(client, walked, body(content=b"<!doctype html>"))
    told = refused.json()
    assert (refused.status_code, refused.headers["Content-Type"]) == (422, "application/problem+json")
    assert (told["code"], told["errors"][0]["pointer"]) == ("photo_kind_unknown", "/file")
    assert send(client, walked, body(content=jpeg() + b"\0" * 10 * 1024 * 1024)).status_code == 413
    wrong = send(client, walked, {"id": "7", "kind": "cow", "taken_at": "yesterday", "station_id": str(uuid7())}).json()
    assert {each["pointer"] for each in wrong["errors"]} == {"/id", "/kind", "/taken_at", "/station_id", "/file"}
    assert all(each["detail"].endswith(".") for each in wrong["errors"])
    sent = body()
    assert send(client, walked, sent).status_code == 201
    other = send(client, walked, body(id=sent["id"], kind="hatching"))
    assert (other.status_code, other.json()["code"]) == (409, "photo_differs")
    assert stored() == (1, 1)


def test_without_scripts_the_rounds_page_has_a_form_and_shows_what_came(browser, anna, walked, cards):
    client, page = browser(anna), at("round", walked.farm, round_id=walked.id)
    shown = client.get(page)
    assert "Add a photo" in words(shown) and "None yet." in words(shown)
    # No moment comes with the form: it is now.
    typed = {"id": hidden_fields(shown)["id"], "kind": "card", "station_id": str(cards[0].id), "file": body()["file"]}
    sent = send(client, walked, typed, script=False)
    assert (sent.status_code, sent.url) == (302, page)
    shown = client.get(page)
    assert "The photo is kept." in words(shown)
    html = shown.content.decode()
    large, small = (at(name, walked.farm, photo_id=typed["id"]) for name in ("photo", "small_photo"))
    assert f'<a href="{large}"><img src="{small}"' in html
    heic = SimpleUploadedFile("a.heic", b"\0\0\0\x18ftypheic")
    refused = send(client, walked, typed | {"id": str(uuid7()), "file": heic}, script=False)
    assert refused.status_code == 302 and "Set the camera to JPEG" in words(client.get(page))


def test_a_farm_phone_without_scripts_adds_a_photo_where_its_round_ends(browser, anna, carla, walked, cards):
    phone, page = phone_of(browser, anna, walked.farm), at("round_end", walked.farm, round_id=walked.id)
    shown = phone.get(page)
    html = shown.content.decode()
    assert f'action="{at("photos", walked.farm, round_id=walked.id)}" enctype="multipart/form-data"' in html
    typed = {"id": hidden_fields(shown)["id"], "kind": "card", "station_id": str(cards[0].id)}
    sent = send(phone, walked, typed | {"file": body()["file"]}, script=False)
    assert (sent.status_code, sent.url) == (302, page)
    kept = phone.get(page)
    # It may add, and see none: neither its own nor another's.
    assert "The photo is kept." in words(kept) and at("photo", walked.farm, photo_id=typed["id"]) not in str(
        kept.content
    )
    refused = send(phone, walked, {"id": hidden_fields(kept)["id"], "kind": "card"}, script=False)
    assert refused.url == page and "Choose a photo." in words(phone.get(page))
    assert browser(carla).get(page).status_code == 404
    assert send(browser(carla), walked, typed | {"file": body()["file"]}, script=False).status_code == 404
    with as_factory():
        photo = Photo.objects.get()
    assert (photo.station_id, photo.round_id) == (cards[0].id, walked.id)


def test_a_phone_of_another_farm_finds_neither_the_end_nor_its_form(browser, anna, carla, walked, southmead):
    foreign = phone_of(browser, carla, southmead)
    for farm in (walked.farm, southmead):
        assert foreign.get(at("round_end", farm, round_id=walked.id)).status_code == 404
        assert foreign.post(at("photos", farm, round_id=walked.id), body()).status_code == 404
    assert stored() == (0, 0)


def test_a_picture_is_served_to_be_looked_at_and_kept_by_nobody_on_the_way(browser, ben, walked):
    client, sent = browser(ben), body()
    send(client, walked, sent)
    for name in ("photo", "small_photo"):
        address = at(name, walked.farm, photo_id=sent["id"])
        answer = client.get(address)
        assert answer.content.startswith(b"\xff\xd8\xff") and answer.headers["Content-Type"] == "image/jpeg"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Content-Disposition"] == 'inline; filename="photo-2026-06-01.jpg"'
        assert answer.headers["Cache-Control"] == "private, no-cache" and "Cookie" in answer.headers["Vary"]
        known = client.get(address, headers={"If-None-Match": answer.headers["ETag"]})
        assert (known.status_code, known.content) == (304, b"")


def test_owner_and_adviser_erase_after_a_question_and_nobody_else(browser, anna, ben, dana, walked):
    for who in (anna, dana):
        sent = body()
        send(browser(who), walked, sent)
        address = at("erase_photo", walked.farm, photo_id=sent["id"])
        assert browser(ben).post(address).status_code == 403
        assert "can't be brought back" in words(browser(who).get(address))
        assert browser(who).post(address, follow=True).status_code == 200
        assert browser(who).get(at("photo", walked.farm, photo_id=sent["id"])).status_code == 404
        assert "It is erased already." in words(browser(who).get(address))
    assert stored() == (2, 0)


def test_strangers_find_no_photo_and_a_phone_sends_without_seeing(browser, anna, carla, erik, walked, southmead):
    sent = body()
    send(browser(anna), walked, sent)
    looks = [at(name, walked.farm, photo_id=sent["id"]) for name in ("photo", "small_photo", "erase_photo")]
    for who in (carla, erik, make_user("Guest")):
        assert {browser(who).get(look).status_code for look in looks} == {404}
        assert send(browser(who), walked, body()).status_code == 404
    # Under her own farm's address Carla finds nothing of Northfield's either.
    assert browser(carla).get(at("photo", southmead, photo_id=sent["id"])).status_code == 404
    assert send(browser(carla), walked, body()).status_code == 404
    phone = phone_of(browser, anna, walked.farm)
    assert send(phone, walked, body()).status_code == 201
    assert send(phone, walked, body(), script=False).url == at("round_end", walked.farm, round_id=walked.id)
    assert {phone.get(look).status_code for look in looks} == {403}
    assert stored() == (3, 3)


def test_what_is_sent_is_read_no_further_than_it_may_be_long(browser, anna, walked, monkeypatch):
    asked = []
    monkeypatch.setattr("monitoring.services.photo.made_anew", lambda content: asked.append(len(content)) or 1 / 0)
    with pytest.raises(ZeroDivisionError):
        send(browser(anna), walked, body(file=BytesIO(b"\0" * (12 * 1024 * 1024))))
    assert asked == [10 * 1024 * 1024 + 1]
