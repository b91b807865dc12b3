"""The weekly check: what is due, judged for all farms of a group at once, and what follows for their alerts."""
