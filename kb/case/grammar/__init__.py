"""Inside the parser: from marks on a line to readings, codes, findings and parts tried.

``kb.case.parse`` is its face; tested through it.
"""
