"""Sprays, pour-ons and baits by the API: noted, changed, confirmed; names for people alone; products of the group."""

import pytest

from farms.models import Facility, Farm, Group, User
from monitoring.models import Application, ApplicationPeople, Station
from monitoring.services import Writer
from server.api.v1.applications import EXAMPLE
from server.api.v1.organic import ANSWER
from server.api.v1.products import LABEL_EXAMPLE
from tests.alerts.scene import count_week, monday
from tests.cast import acting, as_factory, make_facility, make_stations
from tests.monitoring.applying import note
from tests.monitoring.sending import STAFF
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("standing_clock")]
BODY = EXAMPLE.value


@pytest.fixture
def path(northfield: Farm) -> str:
    return f"/api/v1/farms/{northfield.id}/applications"


class TestNoting:
    def test_a_program_notes_one_and_reads_it_without_names(self, program: Sender, anna: User, path: str):
        made = program.post(path, BODY)
        assert made.status_code == 201, made.content
        told = made.json()
        assert (told["irac_groups"], told["amount"], told["area"], told["people"]) == (["3A"], 2.5, 450, None)
        assert told["warnings"] == [] and told["reentry_id"]
        assert session_of(anna).get(f"{path}/{told['id']}").json()["people"]["applicator"] == "Pat Invented"
        with as_factory():
            assert ApplicationPeople.objects.get().applicator == "Pat Invented"

    @pytest.mark.parametrize(
        ("wrong", "pointer"),
        [
            ({"begins_at": "2026-06-02T08:00:00Z", "ends_at": "2026-06-02T09:00:00Z"}, "/begins_at"),
            ({"amount_unit": "bucket"}, "/amount_unit"),
            ({"amount": 0}, "/amount"),
            ({"amount": "2.5"}, "/amount"),
            ({"amount": 1e12}, "/amount"),
            ({"amount": 0.00001}, "/amount"),
            ({"area": None, "area_unit": ""}, "/area"),
            ({"area_unit": ""}, "/area_unit"),
            ({"irac_groups": ["A3"]}, "/irac_groups"),
            ({"irac_groups": []}, "/irac_groups"),
            ({"kind": "magic"}, "/kind"),
            ({"applicator": ""}, "/applicator"),
            ({"facility_id": "0197d0c2-5c00-7000-8000-0000000000ff"}, "/facility_id"),
            ({"dose": 3}, "/dose"),
        ],
    )
    def test_what_cant_be_right_is_named(self, program: Sender, path: str, wrong: dict, pointer: str):
        answer = program.post(path, BODY | wrong)
        assert answer.status_code in (404, 422), answer.content
        if answer.status_code == 422:
            assert pointer in {each["pointer"] for each in answer.json()["errors"]}
        with as_factory():
            assert not Application.objects.exists()

    def test_a_later_record_replaces_an_earlier_one(self, program: Sender, path: str):
        first = program.post(path, BODY).json()
        assert_problem(program.post(path, BODY | {"replaces_id": first["id"]}), 422, "application_refused")
        second = program.post(path, BODY | {"replaces_id": first["id"], "reason": "typed wrongly"}).json()
        told = {each["id"]: each["replaced"] for each in program.get(path).json()["results"]}
        assert told == {first["id"]: True, second["id"]: False}
        again = program.post(path, BODY | {"replaces_id": first["id"], "reason": "typed wrongly"})
        assert_problem(again, 409, "application_replaced")

    def test_what_withholds_milk_or_meat_at_a_moment(self, program: Sender, path: str):
        made = program.post(path, BODY | {"milk_hours": 24}).json()
        program.post(path, BODY)
        running = program.get(f"{path}?withheld_at=2026-06-01T12:00:00Z").json()["results"]
        assert [each["id"] for each in running] == [made["id"]]
        assert program.get(f"{path}?withheld_at=2026-06-02T09:00:00Z").json()["results"] == []

    def test_the_same_group_again_is_said(self, program: Sender, path: str):
        earlier = {"begins_at": "2026-05-20T08:00:00Z", "ends_at": "2026-05-20T09:00:00Z"}
        program.post(path, BODY | earlier)
        assert program.post(path, BODY).json()["warnings"] == ["same_group"]


class TestSinceThen:
    """What became of the counts after it, in the words of a work's record."""

    def test_a_record_says_what_became_of_the_counts(
        self, program: Sender, northfield: Farm, cards: list[Station], calf_barn: Facility, path: str
    ):
        heifers = make_facility(northfield, "Heifer barn", "heifer_barn", 4)
        others = make_stations(heifers, "card", range(6, 11))
        for number, weather in enumerate((1.0, 1.2, 0.9, 1.1, 1.0, 1.3, 0.8)):
            left = 1.0 if number < 3 else 0.5
            count_week(cards, monday(number), [round(weather * left * each) for each in (80, 96, 70, 110, 90)])
            count_week(others, monday(number), [round(weather * each) for each in (60, 66, 58, 40, 75)])
        day = {"begins_at": f"{monday(3)}T14:00:00Z", "ends_at": f"{monday(3)}T15:00:00Z"}
        made = program.post(path, BODY | day | {"facility_id": str(calf_barn.id)}).json()
        (listed,) = program.get(path).json()["results"]
        told = program.get(f"{path}/{made['id']}").json()["since_then"]
        assert made["since_then"] == listed["since_then"] == told
        assert (told["method"], told["compared_with"], told["reason"]) == ("card", [str(heifers.id)], "")
        assert told["effect"] == pytest.approx(-50, abs=2) and -100 < told["low"] < told["effect"] < told["high"] < 0
        (of_season,) = program.get(f"/api/v1/farms/{northfield.id}/work-review").json()["kinds"]
        assert [(each["id"], each["effect"]) for each in of_season["works"]] == [(made["id"], told["effect"])]
        works = f"/api/v1/farms/{northfield.id}/works"
        fans = program.post(works, {"kind": "fans", "done_on": str(monday(7))}).json()
        assert set(told) < set(fans) and not {"id", "kind", "done_on"} & set(told), "the shape of a work's effect"

    def test_what_does_not_stand_has_none(self, program: Sender, northfield: Farm, anna: User, path: str):
        first = program.post(path, BODY).json()
        assert first["since_then"]["reason"] == "too_early"
        program.post(path, BODY | {"replaces_id": first["id"], "reason": "typed wrongly"})
        with acting(anna):
            sent = note(northfield, by=Writer(STAFF, through_link=True))
        said = session_of(anna).post(f"{path}/{sent.id}/check", {"confirmed": False, "reason": "another barn"}).json()
        replaced = program.get(f"{path}/{first['id']}").json()
        for row in (replaced, said):
            assert (row["since_then"]["effect"], row["since_then"]["reason"]) == (None, "")


class TestConfirming:
    def test_owners_alone_say_whether_it_is_so(self, northfield: Farm, anna: User, dana: User, path: str):
        with acting(anna):
            row = note(northfield, by=Writer(STAFF, through_link=True))
        check = f"{path}/{row.id}/check"
        assert_problem(session_of(dana).post(check, {"confirmed": True}), 403, "forbidden")
        assert_problem(session_of(anna).post(check, {"confirmed": False}), 422, "application_refused")
        assert session_of(anna).post(check, {"confirmed": True}).json()["confirmed"] is True
        assert_problem(session_of(anna).post(check, {"confirmed": True}), 409, "already_checked")

    def test_a_link_is_told_once_and_taken_back(self, northfield: Farm, anna: User, program: Sender):
        links, owner = f"/api/v1/farms/{northfield.id}/sprayer-links", session_of(anna)
        made = owner.post(links).json()
        assert "/spray-record/" in made["address"]
        listed = owner.get(links).json()["results"]
        assert [each["id"] for each in listed] == [made["id"]] and "address" not in listed[0]
        assert_problem(program.post(links), 403, "forbidden")
        assert owner.delete(f"{links}/{made['id']}").status_code == 204
        assert owner.get(links).json()["results"] == []


class TestOrganicAndProducts:
    def test_an_organic_farm_asks_its_certifier_first(self, northfield: Farm, anna: User, program: Sender, path: str):
        owner, farm = session_of(anna), f"/api/v1/farms/{northfield.id}"
        assert owner.post(f"{farm}/organic-marks", {"is_organic": True, "from_on": "2026-01-01"}).status_code == 201
        problem = assert_problem(program.post(path, BODY), 422, "application_refused")
        assert problem["errors"][0]["code"] == "certifier_not_asked"
        assert owner.post(f"{farm}/certifier-answers", ANSWER.value).status_code == 201
        assert program.post(path, BODY).json()["certifier_answer_id"]
        assert owner.get(f"{farm}/certifier-answers").json()["results"][0]["said"] == "on_conditions"
        assert_problem(program.post(f"{farm}/organic-marks", {}), 403, "forbidden")

    def test_the_groups_list(self, group: Group, northfield: Farm, anna: User, erik: User, carla: User):
        products = f"/api/v1/groups/{group.id}/products"
        office = session_of(erik)
        first = office.post(products, LABEL_EXAMPLE).json()
        second = office.post(products, LABEL_EXAMPLE | {"reentry_hours": 24, "replaces_id": first["id"]}).json()
        assert [each["id"] for each in session_of(anna).get(products).json()["results"]] == [second["id"]]
        assert_problem(office.post(products, LABEL_EXAMPLE | {"replaces_id": first["id"]}), 409, "product_replaced")
        assert_problem(session_of(anna).post(products, LABEL_EXAMPLE), 403, "forbidden")
        assert_problem(session_of(carla).get(products), 404, "not_found")
        assert office.delete(f"{products}/{second['id']}").status_code == 204
        assert office.get(products).json()["results"] == []
        assert office.get(f"{products}/certificate").json() == {"asked": False}
        assert office.post(f"{products}/certificate", {"asked": True}).json() == {"asked": True}
