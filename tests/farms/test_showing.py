"""Which degrees are usual where: the zones of the United States, against the tz database's own table of countries."""

from importlib import resources

from farms.showing import usual_degrees


def test_the_zones_of_the_united_states_are_those_of_the_tz_database():
    """IANA tz database, zone.tab as the package tzdata has it: country code, place, zone."""
    table = resources.files("tzdata").joinpath("zoneinfo", "zone.tab").read_text()
    rows = [line.split("\t") for line in table.splitlines() if not line.startswith("#")]
    wrong = [row[2] for row in rows if (usual_degrees(row[2]) == "F") != (row[0] == "US")]
    assert len(rows) > 300 and wrong == []


def test_where_no_zone_is_known_it_is_celsius():
    assert usual_degrees("") == usual_degrees("Etc/UTC") == "C"
