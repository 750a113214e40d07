"""Baybook's knowledge base: what a case is, where cases are kept, how they are found again."""
