"""The only SQL: frozen values in, frozen values out; rows never leave this room.

Opening and units of work: ``kb.store.engine`` (``open_store``, ``Store``, ``UnitOfWork``); the
queries: ``kb.store.repository`` (``JobRepository``) and ``kb.store.journal``
(``HistoryRepository``, ``SettingRepository``); values to rows: ``kb.store.rows``, rows to values:
``kb.store.loading``, which value lies in which table: ``kb.store.shapes``; the tables:
``kb.store.tables``, made of ``kb.store.columns``; the schema over time: ``kb.store.migrate``.
"""
