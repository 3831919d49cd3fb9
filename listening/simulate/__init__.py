"""Listeners with known sensitivities: they answer through the real session, or fast and without a store."""
