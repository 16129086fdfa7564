"""What was asked of a set, and what is known of who does it: tempo, range, tests, body."""
