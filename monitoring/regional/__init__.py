"""The only reader across farms: cohorts, and the region reports frozen from them."""

from monitoring.regional.publish import publish_week

__all__ = ["publish_week"]
