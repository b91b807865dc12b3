"""Who and what there is before the first count: group, regions, people, farms, buildings, stations, consents."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, time
from uuid import UUID

from django.db import transaction

from farms import services
from farms.access import OWNER, Role
from farms.agreement import IN_FORCE, agreement_of
from farms.ledger import Actor
from farms.licences import USUAL
from farms.models import Facility, Farm, Group, GroupMember, Holding, Region, User
from farms.models.access import ConsentKind, FarmRole, GroupRole
from farms.services import NewFarm, NewTerms, PaperSigned, Yes
from farms.tenancy.acting import act_for_user
from monitoring.methods import CARD, LEG, TRAP
from monitoring.models import Station
from monitoring.services import SitingData, add_station
from server.demo import scenario
from server.demo.plan import lay_out
from server.demo.scenario import Building, Dairy
from server.reports.agreement import agreement_pdf
from server.reports.typesetter import usual_paper

# Registered and agreed in March: who agrees counts in region reports from the next quarter on.
OPENED = datetime.combine(scenario.REGISTERED, time(12), UTC)


@dataclass
class Yard:
    """A farm of the demo with what its season needs: its owner, who counts, its stations in walking order."""

    dairy: Dairy
    farm: Farm
    owner: User
    counted_by: UUID
    buildings: dict[str, Facility] = field(default_factory=dict)
    stations: list[tuple[Station, Building]] = field(default_factory=list)

    def actor(self, role: Role = OWNER) -> Actor:
        return Actor(role.actor_kind, self.owner.id)


@dataclass(frozen=True)
class Cast:
    """The group and its people who are not on one farm only."""

    group: Group
    regions: dict[str, Region]
    advisers: dict[str, User]
    coordinator: User
    recorder: User


def make_cast() -> Cast:
    """The group, its regions and its people, in one transaction."""
    with transaction.atomic():
        group = Group.objects.create(name=scenario.GROUP, slug="millrace", time_zone=scenario.TIME_ZONE)
        regions = {
            name: Region.objects.create(group=group, name=name, slug=name.lower().replace(" ", "-"))
            for name in scenario.REGIONS
        }
        users = {
            key: User.objects.create_user(email=email, name=name) for key, (email, name) in scenario.PEOPLE.items()
        }
        for key in ("north", "south"):
            GroupMember.objects.create(group=group, user=users[key], role=GroupRole.ADVISER)
        GroupMember.objects.create(group=group, user=users["coordinator"], role=GroupRole.COORDINATOR)
    advisers = {key: users[key] for key in ("north", "south")}
    cast = Cast(group, regions, advisers, users["coordinator"], users["recorder"])
    _terms(cast)
    return cast


def _terms(cast: Cast) -> None:
    """What the group's coordinator wrote before the first farm came, and what its advisers say of themselves."""
    terms = NewTerms(USUAL.spdx, sells_products=False, contact=scenario.ASK, valid_from=scenario.FIRST_HUNG)
    with transaction.atomic():
        act_for_user(cast.coordinator.id)
        services.set_terms(group=cast.group, terms=terms, by=cast.coordinator, now=OPENED)
    for key, adviser in cast.advisers.items():
        with transaction.atomic():
            act_for_user(adviser.id)
            services.say_what_you_sell(
                group=cast.group, sells_products=scenario.SELLS[key], by=adviser, now=OPENED
            )  # fmt: skip


def make_yard(cast: Cast, dairy: Dairy) -> Yard:
    """One dairy as its coordinator and its owner set it up."""
    slug = dairy.name.lower().replace(" ", ".")
    with transaction.atomic():
        act_for_user(cast.coordinator.id)
        holding, _ = Holding.objects.get_or_create(group=cast.group, name=dairy.holding)
        owner = _owner(cast, dairy, holding, slug)
        place = NewFarm(
            group=cast.group,
            region=cast.regions[dairy.region],
            holding=holding,
            name=dairy.name,
            time_zone=scenario.TIME_ZONE,
            language=dairy.language,
        )
        farm = services.register_farm(by=cast.coordinator, farm=place, owner=owner, now=OPENED)
        act_for_user(owner.id)
        services.open_season(farm=farm, opens_on=scenario.FIRST_HUNG)
        counter = services.add_person(farm=farm, name="Farm staff", initials="FS", now=OPENED)
        yard = Yard(dairy, farm, owner, counter.id)
        _consent(cast, yard)
        _build(yard)
        if dairy.name == "Hollow Creek":
            services.add_member(farm=farm, user=cast.recorder, role=FarmRole.RECORDER, by=owner, now=OPENED)
    return yard


def _owner(cast: Cast, dairy: Dairy, holding: Holding, slug: str) -> User:
    """One owner a holding: two farms of one owner share the person."""
    email = f"owner.{holding.name.lower().replace(' ', '.')}@example.org"
    found = User.objects.filter(email=email).first()
    return found or User.objects.create_user(
        email=email, name=f"Owner of {dairy.holding} (invented)", language=dairy.language
    )


def _consent(cast: Cast, yard: Yard) -> None:
    adviser = cast.advisers[yard.dairy.adviser]
    services.give_consent(farm=yard.farm, kind=ConsentKind.ADVISER, adviser=adviser, by=yard.owner, now=OPENED)
    if yard.dairy != scenario.NEWCOMER:
        _agree(yard, adviser)
    if yard.dairy.consents_to_region:
        services.join_comparison(farm=yard.farm, by=yard.owner, now=OPENED)


def _agree(yard: Yard, adviser: User) -> None:
    """The data agreement: accepted on the page, or signed on paper and brought in by the adviser.

    The demo's scan is the page as it is printed; nobody signed it.
    """
    farm, language = yard.farm, yard.dairy.language
    if yard.dairy.name not in scenario.SIGNED_ON_PAPER:
        services.accept_agreement(farm=farm, yes=Yes(IN_FORCE, language), by=yard.owner, now=OPENED)
        return
    shown = agreement_of(farm, scenario.REGISTERED)
    scan = agreement_pdf(shown, language, usual_paper(farm.time_zone))
    signed = PaperSigned(IN_FORCE, language, scenario.REGISTERED, str(yard.owner), scan)
    act_for_user(adviser.id)
    services.keep_signed_paper(farm=farm, paper=signed, by=adviser, now=OPENED)
    act_for_user(yard.owner.id)


def _build(yard: Yard) -> None:
    numbers = dict.fromkeys((CARD.code, TRAP.code, LEG.code), 0)
    for position, building in enumerate(yard.dairy.buildings, start=1):
        facility = services.add_facility(farm=yard.farm, name=building.name, kind=building.kind, position=position)
        yard.buildings[building.name] = facility
        for method, many in ((CARD.code, building.cards), (TRAP.code, building.traps), (LEG.code, building.legs)):
            for _ in range(many):
                numbers[method] += 1
                yard.stations.append((_station(yard, facility, method, numbers[method]), building))
    lay_out(yard.farm, yard.stations, by=yard.owner, now=OPENED)


def _station(yard: Yard, facility: Facility, method: str, number: int) -> Station:
    trouble = yard.dairy.trouble
    card = method == CARD.code
    siting = SitingData(
        windy=card and number in trouble.windy,
        near=_near(yard, number) if card else "nothing",
        out_of_reach=None if method == LEG.code else True,
        position=number,
    )
    return add_station(
        farm=yard.farm, facility=facility, method=method, number=number, since=scenario.FIRST_HUNG, siting=siting
    )


def _near(yard: Yard, number: int) -> str:
    """What is close to a card. At Hollow Creek Card 7 hangs over the waterer, so that its flies may only rest there."""
    if number in yard.dairy.trouble.over_milk:
        return "milk"
    return "water" if yard.dairy.name == "Hollow Creek" and number == 7 else "nothing"
