"""What is read on this floor. The farm has already come through `farms.access`."""

from monitoring.selectors.application import (
    applications_of,
    check_of,
    people_of,
    replaced_applications,
    standing_applications_of,
    waiting_applications_of,
    withheld_at,
)
from monitoring.selectors.development import FarmDevelopment, development_of_farms
from monitoring.selectors.imports import (
    content_of,
    import_results,
    imports_of,
    refused_rows,
    unfinished_imports,
)
from monitoring.selectors.organic import certifier_answer_about, certifier_answers_of, is_organic, organic_marks_of
from monitoring.selectors.own_table import own_table_reading_of, own_tables_of
from monitoring.selectors.photo import HatchingPlace, hatching_places, photos_of, photos_of_round, picture_of
from monitoring.selectors.plan import outlines_of, pictures_of, plan_of, spots_of
from monitoring.selectors.product import asks_for_certificate, product_rows_of, products_of
from monitoring.selectors.readings import (
    arrivals_of,
    farms_received_since,
    last_counts,
    readings_of,
    readings_of_round,
    readings_of_week,
    readings_received,
    summaries_of,
)
from monitoring.selectors.reentry import (
    days_kept_out,
    kept_out_about,
    kept_out_of,
    reentries_of,
    replaced_by,
    standing_of,
)
from monitoring.selectors.region_places import RegionPlace, places_of_farm, places_of_farms
from monitoring.selectors.results import FacilityResult, PlaceToLook, pooled_result, round_ranges, round_result
from monitoring.selectors.rounds import (
    last_farm_counted,
    last_round,
    next_round_due,
    rounds_last_noted,
    rounds_of,
)
from monitoring.selectors.sprayer_link import sprayer_link_by_key, sprayer_links_of
from monitoring.selectors.stations import (
    SheetHanging,
    SheetPlace,
    has_stations,
    round_sheet,
    stations_of,
    stations_of_farms,
)
from monitoring.selectors.stewardship import Stewardship
from monitoring.selectors.temperatures import DayShown, last_days, temperatures_of_farm, temperatures_of_region
from monitoring.selectors.warmth import Warmth, warmth_of_farm
from monitoring.selectors.work import last_works, works_of

__all__ = [
    "DayShown",
    "FacilityResult",
    "FarmDevelopment",
    "HatchingPlace",
    "PlaceToLook",
    "RegionPlace",
    "SheetHanging",
    "SheetPlace",
    "Stewardship",
    "Warmth",
    "applications_of",
    "arrivals_of",
    "asks_for_certificate",
    "certifier_answer_about",
    "certifier_answers_of",
    "check_of",
    "content_of",
    "days_kept_out",
    "development_of_farms",
    "farms_received_since",
    "has_stations",
    "hatching_places",
    "import_results",
    "imports_of",
    "is_organic",
    "kept_out_about",
    "kept_out_of",
    "last_counts",
    "last_days",
    "last_farm_counted",
    "last_round",
    "last_works",
    "next_round_due",
    "organic_marks_of",
    "outlines_of",
    "own_table_reading_of",
    "own_tables_of",
    "people_of",
    "photos_of",
    "photos_of_round",
    "picture_of",
    "pictures_of",
    "places_of_farm",
    "places_of_farms",
    "plan_of",
    "pooled_result",
    "product_rows_of",
    "products_of",
    "readings_of",
    "readings_of_round",
    "readings_of_week",
    "readings_received",
    "reentries_of",
    "refused_rows",
    "replaced_applications",
    "replaced_by",
    "round_ranges",
    "round_result",
    "round_sheet",
    "rounds_last_noted",
    "rounds_of",
    "spots_of",
    "sprayer_link_by_key",
    "sprayer_links_of",
    "standing_applications_of",
    "standing_of",
    "stations_of",
    "stations_of_farms",
    "summaries_of",
    "temperatures_of_farm",
    "temperatures_of_region",
    "unfinished_imports",
    "waiting_applications_of",
    "warmth_of_farm",
    "withheld_at",
    "works_of",
]
