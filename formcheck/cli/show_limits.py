"""``formcheck limits``."""


def show_limits() -> None:
    """Show the limits that faults are judged by."""
