"""The rules, each a question with its evidence: when it is met, and what ends it. Pure functions."""
