"""Clips read, picture by picture with their own times, and written."""
