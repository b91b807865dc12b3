"""A farm's own data to take along: which tables there are, and the formats they leave in."""
