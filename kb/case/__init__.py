"""What a case is: values only, no database, no arrays.

Units and limits: ``kb.case.units``; the trade's words: ``kb.case.terms``; the frozen values of a
job: ``kb.case.model``; typed text to values: ``kb.case.parse`` and ``kb.case.clauses``; computed
readings: ``kb.case.derived``; one Markdown file a case: ``kb.case.casefile``.
"""
