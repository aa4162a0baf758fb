"""What a keeper does on the inventory floor."""
