"""Two sets of strikes held against each other: level, energy, colour, attack, decay, band by band, partial by partial."""
