"""Which push-up it was."""
