"""The yield model: when each mother can be cut next, for how many frags, and how surely. Numbers only."""
