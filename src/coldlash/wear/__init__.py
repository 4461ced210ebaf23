"""What the readings say. Pure."""
