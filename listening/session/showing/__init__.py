"""What a screen may show: views, offers, words."""
