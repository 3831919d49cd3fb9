"""What was found: findings, their parts, comparisons."""
