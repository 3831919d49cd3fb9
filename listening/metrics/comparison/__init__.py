"""Two sets of strikes held against each other: in all, band by band and partial by partial."""
