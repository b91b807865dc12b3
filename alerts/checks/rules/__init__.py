"""The rules, each a question with its evidence: over the action level, rising, round overdue. Pure functions."""
