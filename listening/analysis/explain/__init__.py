"""What explains and decides nothing: slopes, strengths, heard against measured."""
