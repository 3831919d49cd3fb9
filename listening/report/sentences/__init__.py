"""The sentences that may be printed."""
