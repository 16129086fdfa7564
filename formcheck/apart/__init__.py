"""Work in processes of their own: no network, bounded memory, and an end."""
