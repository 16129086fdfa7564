"""The page of a person's weeks."""
