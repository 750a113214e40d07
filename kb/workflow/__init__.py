"""The shop's verbs: one function a verb, one history line a write, no commit here.

Open a job and add to it: ``kb.workflow.jobs``; close it: ``close``; the three answers while it is
open: ``suggest``, kept fitted by ``memory``; tables of work orders in: ``exchange``; put to the test: ``trials`` and, on coded records,
``structured``.
"""
