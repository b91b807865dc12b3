"""Sprays, pour-ons and baits by the API: noted, changed, confirmed; names for people alone; products of the group."""

import pytest

from farms.models import Farm, Group, User
from monitoring.models import Application, ApplicationPeople
from monitoring.services import Writer
from server.api.v1.applications import EXAMPLE
from server.api.v1.organic import ANSWER
from server.api.v1.products import LABEL_EXAMPLE
from tests.cast import acting, as_factory
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
