"""What readings mean, the session they belong to, its record and its publication."""
