"""What a listener does: each act takes a sitting from one state to the next and stores it."""
