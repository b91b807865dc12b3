"""What shows outsiders that records stood so: signed days, time stamps, and a farm's evidence (docs/evidence.md)."""
