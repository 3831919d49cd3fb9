"""What every command prints with: results, progress, the journal of steps."""
