"""Numbers about causes; no text is parsed and no SQL is run here.

Chances of causes: ``kb.diagnosis.causes``; the check that tells them apart: ``checks``; how well
both do: ``measure``.
"""
