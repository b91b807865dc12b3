"""Farms with as many invented readings as a drill or a bench asks for, with rounds, chain and summaries."""

from django.db import transaction

from farms.tenancy.acting import act_for_user
from monitoring.csv_import import read_csv
from monitoring.services import ImportPlan, record_table
from tests.bench.ingest import NOW, PROGRAM, ROUNDS, STATIONS, Ranch, csv_body, ranch

A_FARM = ROUNDS * STATIONS


def fill(readings: int) -> list[Ranch]:
    """Farms of 50,000 readings each, recorded by column as a file's are: one entry of the chain a farm."""
    assert readings % A_FARM == 0
    body, places = csv_body(), []
    for _ in range(readings // A_FARM):
        places.append(ranch())
        with transaction.atomic():
            act_for_user(places[-1].user_id)
            farm, table = places[-1].farm, read_csv(body)
            result = record_table(farm=farm, table=table, plan=ImportPlan(), actor=PROGRAM, now=NOW)
        assert result.stored == A_FARM
    return places
