"""No table with a farm's data is forgotten: it is in the archive or left out with its reason, as the document says."""

from server.farm_archive.described import document
from server.farm_archive.tables import LEFT_OUT, archived, farm_models, in_order_of_loading, leads_to
from tests.architecture.source import ROOT


def test_every_table_is_in_the_archive_or_left_out_with_its_reason():
    """A new table is in by itself. One that lets somebody in, or is a letter, goes into LEFT_OUT with its reason."""
    named = {model._meta.db_table for model in farm_models()}
    assert set(LEFT_OUT) <= named, "tables that are no more"
    assert all(reason.endswith(".") for reason in LEFT_OUT.values())
    secret = ("key", "key_hash", "code_hash", "token_id")
    told = [f"{table.name}.{column.name}" for table in archived() for column in table.columns if column.name in secret]
    assert told == [], "a column with a secret's name: leave its table out (server/farm_archive/tables.py)"


def test_rows_are_loaded_behind_those_that_they_lead_to():
    ordered = [table.name for table in in_order_of_loading(archived())]
    for place, table in enumerate(in_order_of_loading(archived())):
        ahead = leads_to(table.model) - {table.name, "farms_farm"}
        assert ahead & set(ordered) <= set(ordered[:place]), table.name


def test_what_is_in_the_archive_leads_to_nothing_that_is_left_out():
    for table in archived():
        assert leads_to(table.model) & set(LEFT_OUT) == set(), table.name


def test_the_document_describes_every_table_and_column():
    """Anew: python3 manage.py archive_farm --describe > docs/farm-archive.md"""
    assert (ROOT / "docs/farm-archive.md").read_text() == document()
