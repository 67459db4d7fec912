"""The views: one question each."""
