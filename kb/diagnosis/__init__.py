"""Numbers about causes; no text is parsed and no SQL is run here.

Evidence for causes: ``kb.diagnosis.causes``; from it to chances: ``chances`` with the numbers of
``calibration``, fitted by ``calibrate``; whether a job is like anything: ``novelty``. The check
that tells causes apart: ``checks``; a finding where no check is known: ``findings``; when to go
and look: ``looks``; how well all of it does: ``measure``.

The week: what comes up more often than it used to, ``trends`` on the ``arrivals`` of each week and
the ``season`` of their system; tables of vehicles and causes, ``disproportion``; many rows at once,
``discoveries``; shares and rates of few, ``rates``; how long repairs hold, ``survival``.
"""
