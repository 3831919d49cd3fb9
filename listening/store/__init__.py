"""Answers and sittings, durable when the call returns: SQLite by default, PostgreSQL by its URL."""

from listening.store.store import SittingRow, Store, open_store, utc_now

__all__ = ["SittingRow", "Store", "open_store", "utc_now"]
