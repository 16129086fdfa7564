"""Many sets: find, pair, judge, resume, sum up."""
