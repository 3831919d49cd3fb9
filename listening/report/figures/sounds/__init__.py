"""Pictures of sounds, for the page and for slides: one way of drawing each."""
