"""The pages: a face over the desk, no arithmetic."""
