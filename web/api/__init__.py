"""What programs ask: jobs opened, added to and closed, searches, the week, and what changed.

Everything lies below ``/api/v1`` and speaks JSON; errors are RFC 9457 problems. A program comes
by a token (``kb.workflow.tokens``), never by a cookie.
"""
