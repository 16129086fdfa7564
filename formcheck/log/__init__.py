"""The training log: judged sets of people over weeks, an index that folders can make again."""
