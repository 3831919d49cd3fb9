"""What every form is made of: checks, tables, texts, lines."""
