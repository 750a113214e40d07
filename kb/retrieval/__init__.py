"""Information retrieval and nearest neighbours over cases; takes values, never a session.

Text to counted terms: ``kb.retrieval.analyzer``; TF-IDF postings of one text: ``vectors``; a job
to what the index compares: ``features``; the evidence formulas and reasons: ``similarity``; exact
search over everything: ``index``.
"""
