"""What an entry means, the moment it is kept."""
