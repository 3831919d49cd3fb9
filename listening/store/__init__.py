"""Answers and sittings, durable when the call returns: SQLite by default, PostgreSQL by its URL."""

from listening.store.port import AnswerStore, open_for_sitting, place_of
from listening.store.store import SittingRow, Store, open_store, utc_now

__all__ = ["AnswerStore", "SittingRow", "Store", "open_for_sitting", "open_store", "place_of", "utc_now"]
