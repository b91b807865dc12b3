"""What PostgreSQL's own catalogue says of row security, rights and keys: the second wall, stone by stone."""

import re

import pytest
from django.apps import apps
from django.db import connection

from farms.tenancy.keys import FarmRecord

pytestmark = pytest.mark.django_db

ROLES = ("app", "worker", "cohort", "region", "eraser", "definer", "backup")
# The functions that run with the definer's rights, and who may run them. A new one belongs on this list or isn't made.
DEFINER_FUNCTIONS = {
    "acting_token_farm": set(),
    "acting_user_farms": set(),
    "visible_farms": {"app"},
    "writable_farms": {"app"},
    "cohort_farms": {"cohort"},
    "compared_farms": {"cohort"},
    "agreed_by": {"cohort"},
    "seen_together": {"cohort"},
    "find_token": {"app"},
    "use_phone_code": {"app"},
    "register_farm": {"app"},
    "advised_farms": {"app"},
    "coordinates": set(),
    "advises_group": set(),
    "name_successor": {"app"},
    "offers_of_group": {"app"},
    "open_promises_of_group": {"app"},
    "pass_promises": {"app"},
    "hold_adviser": {"app", "worker"},
    "nobody_follows": {"app"},
    "find_invitation": {"app"},
    "find_sprayer_link": {"app"},
    "erasures_due": {"eraser"},
    "accounts_to_erase": {"eraser"},
    "farms_of_person": {"eraser"},
    "belong_nowhere": {"eraser"},
    "farms_with_groups": {"eraser"},
    "move_farm": {"app"},
}
# Tables with nothing of a farm in them: the group's own, the people's sign-in, and what libraries made.
NO_FARMS_DATA = {
    "farms_group", "farms_region", "farms_holding", "farms_groupmember", "farms_user", "farms_user_groups",
    "farms_user_user_permissions", "farms_signinlink", "farms_feedaddress", "monitoring_dailytemperature",
    "monitoring_cohort", "monitoring_regionreport", "monitoring_heldreport",
    "alerts_grouplevel", "alerts_grouprule", "alerts_checkrun", "alerts_borrowedfigures",
    "alerts_running", "alerts_ring", "alerts_choicekey", "alerts_stoppedaddress", "farms_regionclosure",
    "farms_groupvisitrules", "farms_groupterms", "farms_adviserdeclaration", "alerts_roundstold",
    "farms_groupinvitation", "monitoring_product", "monitoring_certificateasked",
    "farms_dailyhead", "farms_signingkey", "farms_erasedfarm", "farms_groupretention",
}  # fmt: skip
# Tables whose rows are a person's or a key's own, and the column that says whose.
OWN_ROWS = {
    "alerts_mondaylist": "(recipient_id = ",
    "alerts_mondaylistchoice": "(recipient_id = ",
    "alerts_coordinatorreport": "(recipient_id = ",
    "alerts_coordinatorreportchoice": "(recipient_id = ",
    "alerts_regionbulletin": "(recipient_id = ",
    "alerts_regionbulletinchoice": "(recipient_id = ",
    "alerts_digestchoice": "(recipient_id = ",
    "farms_ownanswer": "(who = ",
    "alerts_textnumber": "(user_id = ",
    "alerts_textmessage": "(recipient_id = ",
    "farms_accounterasure": "(user_id = ",
}
LIBRARIES = ("django_", "auth_", "account_")
APPEND_ONLY = {
    "monitoring_reading", "monitoring_round", "monitoring_placement", "monitoring_siting", "monitoring_skip",
    "monitoring_work", "monitoring_note", "farms_ledgerentry", "farms_logevent", "alerts_alertevent",
    "alerts_farmlevel", "alerts_mailday",
    "alerts_assessment", "alerts_grouplevel", "alerts_grouprule", "monitoring_regionreport", "monitoring_cohort",
    "monitoring_contribution", "monitoring_heldreport", "monitoring_plan", "monitoring_planpicture",
    "alerts_borrowedfigures", "alerts_listedrise", "alerts_digestchoice", "alerts_mondaylistchoice",
    "alerts_coordinatorreportchoice", "alerts_webhooksecret", "alerts_regionbulletinchoice", "alerts_roundstold",
    "farms_farmclosure", "farms_regionclosure", "farms_groupvisitrules", "alerts_told", "alerts_callnote",
    "monitoring_photo", "monitoring_reentry", "monitoring_application", "monitoring_applicationpeople",
    "monitoring_applicationcheck", "monitoring_organicmark", "monitoring_certifieranswer", "monitoring_product",
    "monitoring_cardskept",
    "monitoring_certificateasked",
    "monitoring_plannedwork", "monitoring_plannedstep", "monitoring_worktakenback", "monitoring_workwords",
    "monitoring_walk", "monitoring_finding", "monitoring_findingwords",
    "monitoring_findingstep", "monitoring_findingstepwords", "monitoring_findingphoto", "monitoring_complaint",
    "monitoring_complaintwords", "monitoring_complaintanswer", "monitoring_complaintanswerwords",
    "farms_acceptance", "farms_groupterms", "farms_adviserdeclaration",
    "farms_headleaf", "farms_erasedrow",
    "farms_signingkey", "farms_erasedfarm", "farms_groupretention",
}  # fmt: skip


def rows(sql: str, *parameters: object) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        return cursor.fetchall()


def tables() -> dict[str, tuple[bool, bool]]:
    """Every table of ours that is no partition: whether row security is on, and forced on the owner too."""
    found = rows(
        "SELECT relname, relrowsecurity, relforcerowsecurity FROM pg_class"
        " WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'p') AND NOT relispartition"
    )
    return {name: (on, forced) for name, on, forced in found if not name.startswith(LIBRARIES)}


def farm_tables() -> set[str]:
    return set(tables()) - NO_FARMS_DATA


def partitions() -> list[str]:
    return [name for (name,) in rows("SELECT relname FROM pg_class WHERE relispartition AND relkind = 'r'")]


def test_every_table_with_a_farms_data_forces_row_security():
    assert {name for name, state in tables().items() if name in farm_tables() and state != (True, True)} == set()


def test_every_table_that_names_a_farm_counts_as_a_farms():
    naming = {name for (name,) in rows(
        "SELECT DISTINCT c.relname FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid"
        " WHERE a.attname = 'farm_id' AND c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')"
        " AND NOT c.relispartition"
    )}  # fmt: skip
    assert naming and naming <= farm_tables()
    models = {model._meta.db_table for model in apps.get_models() if issubclass(model, FarmRecord)}
    assert models <= farm_tables()


def test_every_farm_table_has_a_policy_for_each_verb_it_grants():
    granted = set(rows(
        "SELECT table_name::text, replace(grantee, 'flyround_', ''), privilege_type::text"
        " FROM information_schema.column_privileges WHERE table_schema = 'public'"
        " AND grantee IN ('flyround_app', 'flyround_worker', 'flyround_cohort', 'flyround_eraser', 'flyround_definer')"
        " AND privilege_type IN ('SELECT', 'INSERT', 'UPDATE')"
    ))  # fmt: skip
    policies = set(rows(
        "SELECT tablename::text, replace(role::text, 'flyround_', ''), cmd::text"
        " FROM pg_policies, unnest(roles) AS role"
    ))  # fmt: skip
    assert {each for each in granted if each[0] in farm_tables()} - policies == set()


def test_no_policy_is_for_everybody():
    assert rows("SELECT tablename, policyname FROM pg_policies WHERE 'public' = ANY(roles)") == []


def test_the_app_reaches_farms_rows_through_who_acts_only():
    """Each of its policies asks one of the definer functions which farms, or whether the row is the person's own."""
    policies = rows(
        "SELECT tablename::text, cmd::text, coalesce(qual, ''), coalesce(with_check, '') FROM pg_policies"
        " WHERE 'flyround_app' = ANY(roles)"
    )
    told = {table: [each for _table, *each in policies if _table == table] for table, *_rest in policies}
    by_farm = re.compile(r"\((farm_id|id) = ANY \(\( SELECT (visible|writable|advised)_farms\(\)")
    for table, found in told.items():
        for verb, *conditions in found:
            asked = OWN_ROWS[table] in "".join(conditions) if table in OWN_ROWS else None
            assert asked or all(by_farm.search(each) for each in conditions if each), (table, verb)
    assert farm_tables() <= set(told)


def test_whoever_may_see_every_farm_works_for_nobody_outside():
    everything = {role for (roles,) in rows("SELECT roles FROM pg_policies WHERE qual = 'true'") for role in roles}
    assert everything == {"flyround_worker", "flyround_definer"}


def test_nothing_works_behind_the_statements():
    """No trigger or rewriting of ours, nothing outside `public`, and no table elsewhere that points into a farm's."""
    assert rows("SELECT tgrelid::regclass::text, tgname FROM pg_trigger WHERE NOT tgisinternal") == []
    assert rows("SELECT tablename, rulename FROM pg_rules WHERE schemaname = 'public'") == []
    elsewhere = "SELECT nspname FROM pg_namespace WHERE nspname !~ '^pg_' AND nspname <> 'information_schema'"
    assert rows(elsewhere) == [("public",)]
    pointing = rows(
        "SELECT DISTINCT here.relname::text FROM pg_constraint k JOIN pg_class here ON here.oid = k.conrelid"
        " JOIN pg_class there ON there.oid = k.confrelid"
        " WHERE k.contype = 'f' AND there.relname = ANY(%s) AND NOT here.relispartition",
        list(farm_tables()),
    )
    assert {table for (table,) in pointing} <= farm_tables()


def test_nobody_but_the_owner_and_the_backup_has_a_right_on_a_partition():
    assert len(partitions()) >= 16
    with_rights = rows(
        "SELECT c.relname, r.rolname, verb FROM pg_class c, pg_roles r,"
        " unnest(ARRAY['SELECT', 'INSERT', 'UPDATE', 'DELETE', 'TRUNCATE', 'REFERENCES', 'TRIGGER']) AS verb"
        " WHERE c.relispartition AND r.rolname LIKE 'flyround\\_%%' AND (has_table_privilege(r.oid, c.oid, verb)"
        "   OR (verb IN ('SELECT', 'INSERT', 'UPDATE', 'REFERENCES') AND has_any_column_privilege(r.oid, c.oid, verb)))"
        " AND r.rolname NOT IN ('flyround_owner', 'flyround_backup', 'flyround_factory')"
    )
    assert with_rights == []


def test_every_foreign_key_between_farm_tables_leads_with_the_farm():
    """And fails in the statement: a foreign key that waits for the commit would tell too late."""
    loose = rows(
        "SELECT k.conname FROM pg_constraint k"
        " JOIN pg_class here ON here.oid = k.conrelid JOIN pg_class there ON there.oid = k.confrelid"
        " WHERE k.contype = 'f' AND here.relname = ANY(%s)"
        " AND there.relname = ANY(%s) AND there.relname <> 'farms_farm'"
        " AND (k.condeferrable OR array_length(k.conkey, 1) < 2"
        "   OR (SELECT attname FROM pg_attribute WHERE attrelid = k.conrelid AND attnum = k.conkey[1]) <> 'farm_id'"
        "   OR (SELECT attname FROM pg_attribute WHERE attrelid = k.confrelid AND attnum = k.confkey[1]) <> 'farm_id')",
        list(farm_tables()), list(farm_tables()),
    )  # fmt: skip
    assert loose == []
    tied = rows("SELECT count(*) FROM pg_constraint WHERE contype = 'f' AND conname LIKE '%%\\_in\\_farm'")
    assert tied[0][0] >= 15


def test_every_unique_key_of_a_farm_table_leads_with_the_farm():
    keys = rows(
        "SELECT c.relname, i.indexrelid::regclass::text, a.attname FROM pg_index i"
        " JOIN pg_class c ON c.oid = i.indrelid"
        " LEFT JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum = i.indkey[0]"
        " WHERE i.indisunique AND c.relname = ANY(%s)",
        list(farm_tables() - {"farms_farm", *OWN_ROWS} | {"alerts_digestchoice"}),
    )
    assert len(keys) > 30
    assert [key for key in keys if key[2] != "farm_id"] == []


def test_every_definer_function_is_known_and_fixed():
    found = rows(
        "SELECT p.proname, r.rolname, p.proconfig, p.proacl::text FROM pg_proc p JOIN pg_roles r ON r.oid = p.proowner"
        " WHERE p.prosecdef AND p.pronamespace = 'public'::regnamespace"
    )
    assert {name for name, *_rest in found} == set(DEFINER_FUNCTIONS)
    for name, owner, config, _acl in found:
        assert (name, owner, config) == (name, "flyround_definer", ["search_path=pg_catalog, public"])


@pytest.mark.parametrize("name", DEFINER_FUNCTIONS)
def test_a_definer_function_is_run_by_those_who_need_it(name):
    allowed = rows(
        "SELECT r.rolname FROM pg_proc p, pg_roles r WHERE p.proname = %s AND r.rolname LIKE 'flyround\\_%%'"
        " AND has_function_privilege(r.oid, p.oid, 'EXECUTE')",
        name,
    )
    able = {role.removeprefix("flyround_") for (role,) in allowed} - {"definer", "owner", "factory"}
    assert able == DEFINER_FUNCTIONS[name]


def test_no_function_of_ours_is_everybodys():
    open_ones = rows(
        "SELECT p.proname FROM pg_proc p WHERE p.pronamespace = 'public'::regnamespace"
        " AND has_function_privilege('public', p.oid, 'EXECUTE')"
    )
    assert open_ones == []


def test_a_view_asks_with_the_rights_of_who_looks():
    """Views run with their owner's rights unless they say otherwise, and would pass row security by."""
    views = rows(
        "SELECT relname, relkind::text, reloptions FROM pg_class"
        " WHERE relkind IN ('v', 'm') AND relnamespace = 'public'::regnamespace"
    )
    wanted = {"security_invoker=true", "security_barrier=true"}
    assert [name for name, kind, options in views if kind == "m" or not wanted <= set(options or [])] == []


@pytest.mark.parametrize("table", sorted(APPEND_ONLY))
def test_what_was_recorded_is_neither_changed_nor_deleted(table):
    able = rows(
        "SELECT r.rolname, verb FROM pg_roles r, unnest(ARRAY['UPDATE', 'DELETE', 'TRUNCATE']) AS verb"
        " WHERE r.rolname = ANY(%s) AND (has_table_privilege(r.oid, %s, verb)"
        "   OR (verb = 'UPDATE' AND has_any_column_privilege(r.oid, %s, verb)))",
        [f"flyround_{role}" for role in ("app", "worker", "cohort", "region", "definer")], table, table,
    )  # fmt: skip
    assert able == []


def test_no_role_at_work_may_do_more_than_its_rights_say():
    wide = rows(
        "SELECT rolname FROM pg_roles WHERE rolname = ANY(%s)"
        " AND (rolsuper OR rolcreaterole OR rolcreatedb OR rolreplication OR rolinherit"
        "      OR (rolbypassrls AND rolname <> 'flyround_backup'))",
        [f"flyround_{role}" for role in ROLES],
    )
    assert wide == []


def test_no_role_at_work_owns_a_table():
    owners = {owner for (owner,) in rows("SELECT DISTINCT tableowner FROM pg_tables WHERE schemaname = 'public'")}
    assert owners == {"flyround_owner"}
