"""Push-up form, measured from video."""
