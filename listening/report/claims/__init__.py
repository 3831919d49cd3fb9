"""Draft sentences held against the findings."""
