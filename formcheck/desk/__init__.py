"""The page on one's own machine: clips in, reports out, and what a coach says of them."""
