"""What a keeper does: one module per act, each a function that checks, locks, writes and returns what it made."""
