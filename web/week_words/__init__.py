"""Rows of the week in words, module by module as ``kb.workflow.week`` counts them."""
