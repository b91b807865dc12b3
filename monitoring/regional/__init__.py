"""The only reader across farms: cohorts, and the region reports frozen from them."""

from monitoring.regional.publish import Edition, publish_week

__all__ = ["Edition", "publish_week"]
