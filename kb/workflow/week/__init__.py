"""What the foreman sees of one week: rows by topic, each from the jobs that ``seen`` holds.

A module of this room takes a ``Seen`` and yields ``WeekRow`` values; ``kb.workflow.review`` calls them
all and keeps the result.
"""
