"""What lies on disk: one file a form, one schema each, load, save and check."""
