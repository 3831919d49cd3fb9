"""Models fitted to a table of answers with named columns: the front door of `stats`."""
