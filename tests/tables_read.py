"""Which of our tables some queries read."""

import re
from collections.abc import Iterable, Mapping

READ = re.compile(r'\b(?:FROM|JOIN) "?((?:farms|monitoring|alerts)_\w+)"?')


def tables_read(queries: Iterable[Mapping[str, str]]) -> set[str]:
    """Of queries as Django's CaptureQueriesContext holds them."""
    return {table for query in queries for table in READ.findall(query["sql"])}
