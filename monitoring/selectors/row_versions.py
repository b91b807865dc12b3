"""What is looked at to know that nothing changed (`farms.row_versions`), where the farm's chain alone doesn't tell."""

from farms.row_versions import OF_REGION, Rows
from monitoring.models import DailyTemperature, FarmTemperature, FindingWords, Reentry, Siting, Skip, Station

# When a round is due, and when nobody can walk it: where all counted buildings are kept out.
ROUND_DUE = (
    Rows(Skip),
    Rows(Reentry),
    Rows(Station, "EXISTS (SELECT FROM monitoring_reentry r WHERE r.farm_id = t.farm_id)"),
)

# What was counted where, under which temperatures; rounds, counts, work and
# findings enter the chain; the words of a finding can be erased.
FARM_COUNTED = (
    Rows(Station),
    Rows(Siting),
    Rows(Skip),
    Rows(Reentry),
    Rows(FindingWords),
    Rows(FarmTemperature),
    Rows(DailyTemperature, of_farm="f.id", beside=OF_REGION),
)
