"""A coach's verdicts beside the tool's: agreement, and the limits that fit."""
