"""The full screen: keys become session calls, the session's view is drawn; nothing is decided here."""
