"""Erasing, in the eraser's role and in no other: farms and people whose day has come. `manage.py erase_due` does it.

What is asked, taken back and told stands on the ground floor (farms/services/erasure.py). Here all tables are known,
those of every floor, found from the models.
"""
