"""What the database roles may do before any migration has granted anything."""

from collections.abc import Iterator

import psycopg
import pytest
from psycopg import errors

from server import embedded

LOGINS = ("app", "worker", "cohort", "region", "eraser", "backup")


@pytest.fixture(scope="module")
def running() -> Iterator[embedded.Running]:
    with embedded.scratch() as running:
        yield running


@pytest.fixture(scope="module")
def database(running: embedded.Running) -> str:
    """A database made by the owner, as the tests' own are."""
    with psycopg.connect(running.database_url("owner"), autocommit=True) as owner:
        owner.execute("CREATE DATABASE test_roles")
    with psycopg.connect(running.database_url("owner", "test_roles")) as owner:
        owner.execute("CREATE TABLE farm_thing (farm_id int PRIMARY KEY)")
        owner.execute("ALTER TABLE farm_thing ENABLE ROW LEVEL SECURITY")
        owner.execute("ALTER TABLE farm_thing FORCE ROW LEVEL SECURITY")
        owner.execute("CREATE FUNCTION asked() RETURNS text LANGUAGE sql SECURITY DEFINER AS 'SELECT current_user'")
    return "test_roles"


def one(running: embedded.Running, role: str, database: str, query: str) -> object:
    with psycopg.connect(running.database_url(role, database)) as connection:
        row = connection.execute(query.encode()).fetchone()
    return row[0] if row else None


def test_no_login_role_is_more_than_it_should_be(running: embedded.Running) -> None:
    with psycopg.connect(running.database_url("postgres")) as connection:
        rows = connection.execute(
            "SELECT rolname FROM pg_roles WHERE rolname LIKE 'flyround%'"
            " AND (rolsuper OR rolcreaterole OR rolreplication OR rolinherit)"
        ).fetchall()
        bypassing = connection.execute("SELECT rolname FROM pg_roles WHERE rolbypassrls AND NOT rolsuper").fetchall()
    assert rows == []
    assert sorted(bypassing) == [("flyround_backup",), ("flyround_factory",)]


@pytest.mark.parametrize("role", LOGINS)
@pytest.mark.parametrize("name", ["flyround", "test_roles"])
def test_only_the_owner_creates_in_the_schema(running: embedded.Running, database: str, role: str, name: str) -> None:
    with pytest.raises((errors.InsufficientPrivilege, errors.ReadOnlySqlTransaction)):
        one(running, role, name, "CREATE TABLE mine ()")


@pytest.mark.parametrize("role", [role for role in LOGINS if role != "backup"])
def test_a_new_table_and_a_new_function_are_nobodys(running: embedded.Running, database: str, role: str) -> None:
    with pytest.raises(errors.InsufficientPrivilege):
        one(running, role, database, "SELECT count(*) FROM farm_thing")
    with pytest.raises(errors.InsufficientPrivilege):
        one(running, role, database, "SELECT asked()")


def test_backup_reads_past_row_security_and_writes_nothing(running: embedded.Running, database: str) -> None:
    with psycopg.connect(running.database_url("tester", database)) as connection:
        connection.execute("SET LOCAL ROLE flyround_factory")
        connection.execute("INSERT INTO farm_thing VALUES (1)")
    assert one(running, "backup", database, "SELECT count(*) FROM farm_thing") == 1
    assert one(running, "owner", database, "SELECT count(*) FROM farm_thing") == 0  # forced: the owner too
    with psycopg.connect(running.database_url("backup", database)) as connection:
        connection.execute("SET TRANSACTION READ WRITE")
        with pytest.raises(errors.InsufficientPrivilege):
            connection.execute("DELETE FROM farm_thing")


def test_the_owner_hands_a_function_to_the_definer_without_having_its_rights(
    running: embedded.Running, database: str
) -> None:
    with psycopg.connect(running.database_url("owner", database)) as owner:
        owner.execute("CREATE FUNCTION who() RETURNS text LANGUAGE sql SECURITY DEFINER AS 'SELECT current_user::text'")
        owner.execute("GRANT EXECUTE ON FUNCTION who() TO flyround_app")
        owner.execute("ALTER FUNCTION who() OWNER TO flyround_definer")
        owner.execute("CREATE POLICY definer_sees ON farm_thing FOR SELECT TO flyround_definer USING (true)")
        owner.execute("INSERT INTO farm_thing SELECT 7 WHERE false")
    assert one(running, "app", database, "SELECT who()") == "flyround_definer"
    with pytest.raises(errors.InsufficientPrivilege):
        one(running, "owner", database, "SELECT who()")
    assert one(running, "owner", database, "SELECT count(*) FROM farm_thing") == 0  # the definer's policy is not ours


def test_the_tester_is_the_app_until_it_steps_into_a_role(running: embedded.Running, database: str) -> None:
    with psycopg.connect(running.database_url("tester", database)) as connection:
        assert connection.execute("SELECT current_user, session_user").fetchone() == (
            "flyround_app",
            "flyround_tester",
        )
        for role in ("worker", "cohort", "region", "eraser", "factory"):
            connection.execute(f"SET LOCAL ROLE flyround_{role}".encode())
        for role in ("owner", "definer", "backup"):
            with pytest.raises(errors.InsufficientPrivilege), connection.transaction():
                connection.execute(f"SET LOCAL ROLE flyround_{role}".encode())


def test_the_scripts_may_run_again_and_refuse_a_widened_role(running: embedded.Running) -> None:
    from server.embedded.cluster import Kind, connect, run_scripts

    with connect(running.sockets, running.secrets["passwords"]["postgres"], "flyround") as connection:
        run_scripts(connection, Kind(tests=True))
        connection.execute("ALTER ROLE flyround_region BYPASSRLS")
        with pytest.raises(errors.RaiseException, match="flyround_region"):
            run_scripts(connection, Kind(tests=True))
        connection.execute("ALTER ROLE flyround_region NOBYPASSRLS")


def test_real_data_gets_no_test_roles(tmp_path_factory: pytest.TempPathFactory) -> None:
    with (
        embedded.scratch(tests=False) as running,
        psycopg.connect(running.database_url("postgres")) as connection,
    ):
        row = connection.execute(
            "SELECT count(*) FROM pg_roles WHERE rolname IN ('flyround_tester', 'flyround_factory') OR rolcreatedb"
        ).fetchone()
        assert row == (1,)  # the superuser's own
        assert "tester" not in running.secrets["passwords"]
        assert "flyround_app:" in embedded.environment(running)["DATABASE_URL"]
