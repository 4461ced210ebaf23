"""The terminal: a face over the desk, no arithmetic."""
